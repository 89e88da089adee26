package readback

import (
	"bufio"
	"bytes"
	"cmp"
	"io"
	"slices"
)

// longestNumber bounds the hex digits of a word: 1,024 lines take 256.
const longestNumber = 256

// Memh reads what the Verilog task $readmemh reads (IEEE 1364-2005, 17.2.9):
// hex words with underscores at will, "@address", both kinds of comment. The
// words may come in any order of addresses, but must leave no hole from 0 on,
// and a word given twice must be the same. The first word sets how many bytes
// each takes; the file does not say how many bits. The unknown digits x and z
// are refused: a control word has none.
func Memh(r io.Reader) (*Words, error) {
	s := &memhScanner{in: bufio.NewReaderSize(r, 64<<10), line: 1}
	type run struct {
		address uint64
		first   int // word of the data
		line    int
	}
	var runs []run
	w := new(Words)
	address := uint64(0)
	fresh := true
	for {
		token, line, err := s.next()
		if err != nil {
			return nil, err
		}
		if token == nil {
			break
		}
		at := token[0] == '@'
		if at {
			token = token[1:]
		}
		value, err := memhNumber(token, line)
		if err != nil {
			return nil, err
		}
		if at {
			value = bytes.TrimLeft(value, "\x00")
			if len(value) > 4 {
				return nil, refuse(line, "address %s is beyond 32 bits", token)
			}
			address, fresh = 0, true
			for _, b := range value {
				address = address<<8 | uint64(b)
			}
			continue
		}
		if w.BytesPerWord == 0 {
			w.BytesPerWord = len(value)
		}
		for len(value) > w.BytesPerWord {
			if value[0] != 0 {
				return nil, refuse(line, "word %s is wider than the %d bytes of the first", token, w.BytesPerWord)
			}
			value = value[1:]
		}
		if fresh {
			runs = append(runs, run{address, w.Count, line})
			fresh = false
		}
		for i := len(value); i < w.BytesPerWord; i++ {
			w.Data = append(w.Data, 0)
		}
		w.Data = append(w.Data, value...)
		w.Count++
		address++
	}
	count := func(i int) uint64 {
		if i+1 < len(runs) {
			return uint64(runs[i+1].first - runs[i].first)
		}
		return uint64(w.Count - runs[i].first)
	}
	order := make([]int, len(runs))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(runs[a].address, runs[b].address) })
	var data []byte
	end := uint64(0)
	for _, i := range order {
		run, n := runs[i], count(i)
		if run.address > end {
			return nil, refuse(run.line, "no word at @%X: the words go on at @%X", end, run.address)
		}
		words := w.Data[run.first*w.BytesPerWord:][:int(n)*w.BytesPerWord]
		known := data[int(run.address)*w.BytesPerWord:]
		known = known[:min(len(known), len(words))]
		for j := range known {
			if known[j] != words[j] {
				return nil, refuse(run.line, "the word at @%X is given twice, differently", run.address+uint64(j/w.BytesPerWord))
			}
		}
		if len(runs) == 1 {
			data = words
		} else {
			data = append(data, words[len(known):]...)
		}
		end = uint64(len(data) / w.BytesPerWord)
	}
	w.Data, w.Count = data, int(end)
	return w, nil
}

func memhNumber(token []byte, line int) ([]byte, error) {
	var nibbles []byte
	for _, c := range token {
		switch {
		case c == '_' && len(nibbles) > 0:
		case c >= '0' && c <= '9':
			nibbles = append(nibbles, c-'0')
		case c >= 'a' && c <= 'f':
			nibbles = append(nibbles, c-'a'+10)
		case c >= 'A' && c <= 'F':
			nibbles = append(nibbles, c-'A'+10)
		case c == 'x' || c == 'X' || c == 'z' || c == 'Z' || c == '?':
			return nil, refuse(line, "word %s has an unknown digit: a control word has none", token)
		default:
			return nil, refuse(line, "%s is no hex digit", character(c))
		}
	}
	if len(nibbles) == 0 {
		return nil, refuse(line, "a number without digits")
	}
	if len(nibbles)%2 == 1 {
		nibbles = slices.Insert(nibbles, 0, 0)
	}
	out := nibbles[:0]
	for i := 0; i < len(nibbles); i += 2 {
		out = append(out, nibbles[i]<<4|nibbles[i+1])
	}
	return out, nil
}

// memhScanner cuts a file at blanks and comments.
type memhScanner struct {
	in    *bufio.Reader
	line  int
	token []byte
}

// next returns the next token and its line; nil at the end of the file.
func (s *memhScanner) next() ([]byte, int, error) {
	s.token = s.token[:0]
	for {
		c, err := s.in.ReadByte()
		if err == io.EOF {
			if len(s.token) == 0 {
				return nil, s.line, nil
			}
			return s.token, s.line, nil
		}
		if err != nil {
			return nil, 0, err
		}
		switch c {
		case ' ', '\t', '\r', '\f', '\n', '/':
			if len(s.token) > 0 {
				return s.token, s.line, s.in.UnreadByte()
			}
			if c == '\n' {
				s.line++
			}
			if c == '/' {
				if err := s.comment(); err != nil {
					return nil, 0, err
				}
			}
		default:
			if s.token = append(s.token, c); len(s.token) > 2*longestNumber {
				return nil, 0, refuse(s.line, "a number of more than %d digits", longestNumber)
			}
		}
	}
}

// comment passes over what a slash begins.
func (s *memhScanner) comment() error {
	begun := s.line
	kind, err := s.in.ReadByte()
	if err != nil && err != io.EOF {
		return err
	}
	if err == io.EOF || kind != '/' && kind != '*' {
		return refuse(s.line, "a slash that begins no comment")
	}
	for before := byte(0); ; {
		c, err := s.in.ReadByte()
		if err == io.EOF && kind == '/' {
			return nil
		}
		if err == io.EOF {
			return refuse(begun, "a comment without an end")
		}
		if err != nil {
			return err
		}
		if c == '\n' {
			s.line++
			if kind == '/' {
				return nil
			}
		}
		if kind == '*' && before == '*' && c == '/' {
			return nil
		}
		before = c
	}
}
