package readback

import (
	"bufio"
	"io"
	"strconv"
	"strings"
)

// Header reads the one array of unsigned integers in a C header: its element
// type (uint8_t to uint64_t), its values, and from the macros that end in
// _WORDS, _BITS, _BYTES and _LITTLE how many words there are, of how many bits
// and, if a word takes several elements, of how many in which order. It reads
// declarations, macros that are numbers and comments; expressions are not
// worked out.
func Header(r io.Reader) (*Words, error) {
	s := &cScanner{in: bufio.NewReaderSize(r, 64<<10), line: 1, begins: true}
	macros := map[string]uint64{}
	var values []byte
	size := 0
	for size == 0 || !s.closed {
		token, err := s.next()
		if err != nil {
			return nil, err
		}
		switch {
		case token == "":
			if size == 0 {
				return nil, refuse(s.line, "no array of uint8_t, uint16_t, uint32_t or uint64_t")
			}
			return nil, refuse(s.line, "the array has no end")
		case token == "#":
			if err := s.directive(macros); err != nil {
				return nil, err
			}
		case cSizes[token] != 0 && size == 0:
			size = cSizes[token]
		case token == "{" && size > 0:
			if values, err = s.values(size); err != nil {
				return nil, err
			}
		}
	}
	for {
		token, err := s.next()
		if err != nil {
			return nil, err
		}
		switch {
		case token == "":
			return headerWords(values, size, macros, s.line)
		case token == "#":
			if err := s.directive(macros); err != nil {
				return nil, err
			}
		case cSizes[token] != 0:
			return nil, refuse(s.line, "a second array")
		}
	}
}

var cSizes = map[string]int{"uint8_t": 1, "uint16_t": 2, "uint32_t": 4, "uint64_t": 8}

// headerWords cuts the values into words and holds the macros against them.
func headerWords(values []byte, size int, macros map[string]uint64, line int) (*Words, error) {
	w := &Words{Bits: int(macros["_BITS"]), BytesPerWord: size, Data: values}
	if several := macros["_BYTES"]; several > 0 {
		if several*uint64(size) > 1<<10 {
			return nil, refuse(line, "a word of %d elements", several)
		}
		w.BytesPerWord = size * int(several)
	}
	if len(values)%w.BytesPerWord != 0 {
		return nil, refuse(line, "the array ends within a word")
	}
	w.Count = len(values) / w.BytesPerWord
	if macros["_LITTLE"] == 1 {
		m := Memory{Segments: []Segment{{0, values}}}
		turned, err := m.Words(w.BytesPerWord, true)
		if err != nil {
			return nil, err
		}
		w.Data = turned.Data
	}
	if words, ok := macros["_WORDS"]; ok && words != uint64(w.Count) {
		return nil, refuse(line, "%d words announced, the array has %d", words, w.Count)
	}
	return w, nil
}

// cScanner cuts C text into names with digits, and single characters.
type cScanner struct {
	in     *bufio.Reader
	line   int
	begins bool // nothing but blanks stands before, on this line
	macro  bool // within a preprocessor line: its end is a token
	closed bool // the array has ended
	token  []byte
}

// next returns the next token, "" at the end of the file.
func (s *cScanner) next() (string, error) {
	for {
		c, err := s.in.ReadByte()
		if err == io.EOF {
			return "", nil
		}
		if err != nil {
			return "", err
		}
		switch {
		case c == '\n':
			s.line++
			s.begins = true
			if s.macro {
				return "\n", nil
			}
		case c == ' ' || c == '\t' || c == '\r':
		case c == '/':
			if err := s.comment(); err != nil {
				return "", err
			}
		case isNamed(c):
			s.begins = false
			return s.name(c)
		case c == '#' && !s.begins:
			return "", refuse(s.line, "a # within a line")
		default:
			s.begins = false
			return string(c), nil
		}
	}
}

func isNamed(c byte) bool {
	return c >= '0' && c <= '9' || c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' || c == '_'
}

func (s *cScanner) name(first byte) (string, error) {
	s.token = append(s.token[:0], first)
	for {
		c, err := s.in.ReadByte()
		if err == io.EOF {
			return string(s.token), nil
		}
		if err != nil {
			return "", err
		}
		if !isNamed(c) {
			return string(s.token), s.in.UnreadByte()
		}
		if s.token = append(s.token, c); len(s.token) > 8192 {
			return "", refuse(s.line, "a name of more than 8,192 characters")
		}
	}
}

func (s *cScanner) comment() error {
	begun := s.line
	kind, err := s.in.ReadByte()
	if err != nil && err != io.EOF {
		return err
	}
	if err == io.EOF || kind != '*' && kind != '/' {
		return refuse(s.line, "a slash that begins no comment")
	}
	for before := byte(0); ; {
		c, err := s.in.ReadByte()
		switch {
		case err == io.EOF && kind == '/':
			return nil
		case err == io.EOF:
			return refuse(begun, "a comment without an end")
		case err != nil:
			return err
		case c == '\n' && kind == '/':
			return s.in.UnreadByte()
		case c == '\n':
			s.line++
		case c == '/' && kind == '*' && before == '*':
			return nil
		}
		before = c
	}
}

// directive reads a preprocessor line to its end and keeps a macro that is a
// number, under the last part of its name.
func (s *cScanner) directive(macros map[string]uint64) error {
	begun := s.line
	s.macro = true
	defer func() { s.macro = false }()
	var words []string
	for {
		word, err := s.next()
		if err != nil {
			return err
		}
		if word == "\n" || word == "" {
			break
		}
		if words = append(words, word); len(words) > 64 {
			return refuse(begun, "a preprocessor line of more than 64 words")
		}
	}
	if len(words) == 3 && words[0] == "define" {
		value, err := cNumber(words[2])
		if i := strings.LastIndexByte(words[1], '_'); err == nil && i >= 0 {
			macros[words[1][i:]] = value
		}
	}
	return nil
}

// values reads the numbers up to the closing brace, size bytes each, most
// significant first.
func (s *cScanner) values(size int) ([]byte, error) {
	var out []byte
	for comma := true; ; {
		token, err := s.next()
		if err != nil {
			return nil, err
		}
		switch {
		case token == "}":
			s.closed = true
			return out, nil
		case token == "":
			return nil, refuse(s.line, "the array has no end")
		case token == "," && !comma:
			comma = true
			continue
		case !comma:
			return nil, refuse(s.line, "no comma before %s", token)
		}
		value, err := cNumber(token)
		if err != nil {
			return nil, refuse(s.line, "%s is no number", token)
		}
		if size < 8 && value>>(8*size) != 0 {
			return nil, refuse(s.line, "%s does not fit into %d bytes", token, size)
		}
		for i := size - 1; i >= 0; i-- {
			out = append(out, byte(value>>(8*i)))
		}
		comma = false
	}
}

// cNumber reads a C integer constant, decimal, octal or hex, with a suffix.
func cNumber(text string) (uint64, error) {
	text = strings.TrimRight(text, "uUlL")
	if strings.ContainsRune(text, '_') {
		return 0, strconv.ErrSyntax
	}
	return strconv.ParseUint(text, 0, 64)
}
