package cli

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"coilwright/emit/image"
	"coilwright/emit/readback"
	"coilwright/encode/store"
)

// imageOptions are those of `image` and `exercise`.
type imageOptions struct {
	out        string
	form       choice
	chip       whole // 0 = the whole word
	record     whole
	addressing choice
	size       size
}

func newImage(a *app) *cobra.Command {
	return imageCommand(a, command("image FILE [--form FORM] [-o FILE]", "The control store as a memory image",
		`Writes the control store for memory chips: Intel HEX, binary, S-record, a C
header, or a hex listing for a Verilog simulator (memh). With store { split N }
in the definition, --chip N writes what goes into one chip. The image is read
back and compared with the store before it is written.

Stores of more than 16,777,216 words are refused.`,
		`coilwright image millrace.coil --form hex -o store.hex
coilwright image millrace.coil --form bin --chip 2 --size 32K -o chip2.bin`, wants(1, 1, "the FILE with the definition")), false)
}

// imageCommand gives a command the flags and the run that images share.
func imageCommand(a *app, cmd *cobra.Command, exercise bool) *cobra.Command {
	var words []string
	for _, f := range image.Forms() {
		words = append(words, string(f))
	}
	o := imageOptions{
		form:       newChoice(string(image.FormHex), words...),
		chip:       whole{most: largestCount},
		record:     whole{value: image.DefaultRecord, most: largestCount},
		addressing: newChoice("linear", "linear", "segment"),
	}
	o.form.add(cmd, "form", "file format")
	cmd.Flags().Var(&o.chip, "chip", "only chip `N` of a split word, from 1 (default the whole word)")
	cmd.Flags().Var(&o.record, "record", "data `BYTES` a record, hex and srec")
	o.addressing.add(cmd, "addressing", "hex above 64 KiB: type 04 or type 02 records")
	cmd.Flags().Var(&o.size, "size", "fill the file up to so many `BYTES`, the chip's size (8192, 0x2000, 8K)")
	outFlag(cmd, &o.out)
	cmd.ValidArgsFunction = completeDefinitions
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if err := o.check(cmd); err != nil {
			return err
		}
		l, err := a.need(args[0])
		if err != nil {
			return err
		}
		art, err := o.artefact(l.store, exercise)
		if err != nil {
			return err
		}
		return a.deliver(o.out, art)
	}
	return cmd
}

// check finds options that would have no effect, before the definition is read.
func (o *imageOptions) check(cmd *cobra.Command) error {
	form := image.Form(o.form.value)
	records := form == image.FormHex || form == image.FormSrec
	switch {
	case cmd.Flags().Changed("chip") && o.chip.value < 1:
		return usagef("--chip %d: chips count from 1; without --chip the whole word is written", o.chip.value)
	case cmd.Flags().Changed("record") && !records:
		return usagef("--record means nothing in form %s: only hex and srec have records", form)
	case cmd.Flags().Changed("addressing") && form != image.FormHex:
		return usagef("--addressing means nothing in form %s: it is about hex", form)
	}
	return oneByte(o.record)
}

func (o *imageOptions) artefact(s *store.Store, exercise bool) (artefact, error) {
	what := imageOf{store: s, chip: int(o.chip.value), exercise: exercise}
	im, err := what.make()
	if err != nil {
		return artefact{}, err
	}
	options := image.Options{Record: int(o.record.value), Size: int(o.size)}
	if o.addressing.value == "segment" {
		options.Addressing = image.Segmented
	}
	return what.artefact(o.form.value, image.Form(o.form.value), options, func() (*image.Image, error) { return im, nil }), nil
}

// imageOf is which image: of the whole word (chip 0) or one chip, of the
// store or of its exercise.
type imageOf struct {
	store    *store.Store
	chip     int
	exercise bool
}

func (o imageOf) make() (*image.Image, error) {
	var im *image.Image
	var err error
	switch {
	case o.exercise:
		im, err = image.Exercise(o.store, o.chip)
	case o.chip == 0:
		im, err = image.Whole(o.store)
	default:
		im, err = image.Chip(o.store, o.chip)
	}
	if errors.Is(err, image.ErrTooLarge) || errors.Is(err, image.ErrEmpty) {
		return nil, inputf("%w", err)
	}
	return im, err // another one is about the chip: wrong usage
}

// artefact is the image in a form, compared with the store through its bytes.
func (o imageOf) artefact(name string, form image.Form, options image.Options, get func() (*image.Image, error)) artefact {
	return artefact{
		name: name,
		write: func(w io.Writer) error {
			im, err := get()
			if err != nil {
				return err
			}
			return image.Write(w, im, form, options)
		},
		verify: func(r io.Reader) error {
			return readback.Image(r, string(form), o.store, o.chip, o.exercise)
		},
	}
}

// size is a number of bytes, perhaps in K or M as chips are sold.
type size int

func (s *size) String() string { return strconv.Itoa(int(*s)) }
func (s *size) Type() string   { return "BYTES" }

func (s *size) Set(text string) error {
	digits, unit := strings.ToUpper(text), uint64(1)
	switch {
	case strings.HasPrefix(digits, "0X"):
		digits = "0x" + digits[2:]
	case strings.HasSuffix(digits, "K"):
		digits, unit = digits[:len(digits)-1], 1<<10
	case strings.HasSuffix(digits, "M"):
		digits, unit = digits[:len(digits)-1], 1<<20
	}
	n, err := wholeNumber(digits)
	if err != nil || n == 0 {
		return errors.New("a number of bytes is wanted, such as 8192, 0x2000 or 8K")
	}
	if n > image.LargestSize/unit {
		return fmt.Errorf("it is too large: at most %d bytes (%dM)", image.LargestSize, image.LargestSize>>20)
	}
	*s = size(n * unit)
	return nil
}
