package definition

import (
	"fmt"
	"reflect"
	"strings"

	"coilwright/lang/diag"
)

// dump writes a tree without its places: (Bus data 8 [(Trait or)]). What is
// nil, empty or false is left out, except that an empty block shows as {}.
func dump(v any) string {
	var b strings.Builder
	write(&b, reflect.ValueOf(v))
	return b.String()
}

func write(b *strings.Builder, v reflect.Value) {
	switch v.Kind() {
	case reflect.Pointer, reflect.Interface:
		write(b, v.Elem())
	case reflect.String:
		b.WriteString(v.String())
	case reflect.Bool:
		fmt.Fprint(b, v.Bool())
	case reflect.Slice:
		b.WriteByte('[')
		for i := range v.Len() {
			if i > 0 {
				b.WriteByte(' ')
			}
			write(b, v.Index(i))
		}
		b.WriteByte(']')
	case reflect.Struct:
		switch x := v.Interface().(type) {
		case Name:
			b.WriteString(x.Text)
			return
		case Number:
			b.WriteString("#" + x.Text)
			return
		case Block:
			b.WriteByte('{')
			for i, s := range x.Stmts {
				if i > 0 {
					b.WriteByte(' ')
				}
				write(b, reflect.ValueOf(s))
			}
			b.WriteByte('}')
			return
		}
		b.WriteString("(" + v.Type().Name())
		for i := range v.NumField() {
			f := v.Field(i)
			if f.Type() == reflect.TypeFor[diag.Place]() || f.IsZero() || f.Kind() == reflect.Slice && f.Len() == 0 {
				continue
			}
			b.WriteByte(' ')
			if n := v.Type().Field(i).Name; f.Kind() == reflect.Pointer || f.Kind() == reflect.Slice || f.Kind() == reflect.Bool {
				b.WriteString(n + "=")
			}
			write(b, f)
		}
		b.WriteByte(')')
	default:
		panic(v.Kind().String())
	}
}
