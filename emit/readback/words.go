package readback

import "fmt"

// Words is a table of control words from word address 0 on. Word w is
// Data[w*BytesPerWord:][:BytesPerWord], most significant byte first.
type Words struct {
	Bits         int // a word; 0 if the file does not say
	BytesPerWord int
	Count        int
	Data         []byte
	Rest         []byte // bytes past the last whole word: a chip filled up to its size
}

// Word returns word w, most significant byte first.
func (w *Words) Word(i int) []byte { return w.Data[i*w.BytesPerWord:][:w.BytesPerWord] }

// Words cuts a memory that begins at 0 and has no holes into words, whose low
// byte comes first if little.
func (m *Memory) Words(bytesPerWord int, little bool) (*Words, error) {
	_, data, ok := m.Contiguous()
	if len(m.Segments) > 0 && m.Segments[0].Address != 0 {
		return nil, fmt.Errorf("no byte at 0x0: the first is at 0x%X", m.Segments[0].Address)
	}
	if !ok {
		return nil, fmt.Errorf("no byte at 0x%X: there is a hole before 0x%X",
			uint64(m.Segments[0].Address)+uint64(len(m.Segments[0].Data)), m.Segments[1].Address)
	}
	w := &Words{BytesPerWord: bytesPerWord, Count: len(data) / bytesPerWord}
	whole := w.Count * bytesPerWord
	w.Data, w.Rest = data[:whole], data[whole:]
	if little && bytesPerWord > 1 {
		turned := make([]byte, whole)
		for at := 0; at < whole; at += bytesPerWord {
			for i := range bytesPerWord {
				turned[at+i] = data[at+bytesPerWord-1-i]
			}
		}
		w.Data = turned
	}
	return w, nil
}
