// Package readback reads every artefact again, sharing no code with what wrote it, and compares it with the store.
package readback

import (
	"cmp"
	"fmt"
	"io"
	"io/fs"
	"slices"
)

// LineError is why a file is refused, with the place.
type LineError struct {
	Line int // from 1
	Text string
}

func (e *LineError) Error() string { return fmt.Sprintf("line %d: %s", e.Line, e.Text) }

func refuse(line int, format string, args ...any) error {
	return &LineError{line, fmt.Sprintf(format, args...)}
}

// Segment is a run of bytes at a byte address.
type Segment struct {
	Address uint32
	Data    []byte
}

// Start is a start address record: type "03" (CS in the upper half, IP in the
// lower) or "05" of Intel HEX, "S7", "S8" or "S9" of S-records.
type Start struct {
	Type  string
	Value uint32
}

// Memory is what an object file defines: segments in address order that
// neither overlap nor touch, and what the file says beside them.
type Memory struct {
	Segments []Segment
	Starts   []Start // in the order of the file, each once
	Header   []byte  // the text of an S0 record
}

// Size returns the number of bytes defined.
func (m *Memory) Size() int {
	n := 0
	for _, s := range m.Segments {
		n += len(s.Data)
	}
	return n
}

// Contiguous returns the bytes and the address of the first; ok is false if
// there are holes between them. A memory without bytes is contiguous at 0.
func (m *Memory) Contiguous() (address uint32, data []byte, ok bool) {
	switch len(m.Segments) {
	case 0:
		return 0, nil, true
	case 1:
		return m.Segments[0].Address, m.Segments[0].Data, true
	}
	return 0, nil, false
}

// Bytes returns n bytes from an address on. It fails if one is not defined,
// and says which.
func (m *Memory) Bytes(address uint32, n int) ([]byte, error) {
	if n == 0 {
		return nil, nil
	}
	for _, s := range m.Segments {
		from := int64(address) - int64(s.Address)
		if from < 0 || from >= int64(len(s.Data)) {
			continue
		}
		if have := int64(len(s.Data)) - from; have < int64(n) {
			return nil, fmt.Errorf("no byte at 0x%X", int64(address)+have)
		}
		return s.Data[from:][:n], nil
	}
	return nil, fmt.Errorf("no byte at 0x%X", address)
}

// stripe is a run of records, each of the next line and of the same length
// (the last may be shorter), whose bytes follow each other: enough to tell the
// line of every byte without keeping one for each. Its bytes are arena[offset:]
// up to the next stripe's.
type stripe struct {
	address uint32
	line    uint32
	offset  int
	each    uint32
}

// gatherer collects records in the order of the file. What it needs is bounded
// by a small multiple of the file's length, whatever the addresses.
type gatherer struct {
	arena   []byte
	stripes []stripe
	next    uint64 // the address, the line that would continue the last stripe
	line    int
	each    int // 0: nothing continues it
}

// room returns the arena's tail, space for one record.
func (g *gatherer) room() []byte {
	g.arena = slices.Grow(g.arena, 256)
	return g.arena[len(g.arena) : len(g.arena)+256]
}

// add takes the first n bytes written into room as those at an address; they
// may not reach past 4 GiB. After a second add of one record the line of the
// next one does not match, so stripes never join across it.
func (g *gatherer) add(address uint32, n, line int) {
	if n == 0 {
		return
	}
	if uint64(address) != g.next || line != g.line || n > g.each {
		g.stripes = append(g.stripes, stripe{address, uint32(line), len(g.arena), uint32(n)})
		g.each = n
	}
	if n < g.each {
		g.each = 0
	}
	g.next = uint64(address) + uint64(n)
	g.line = line + 1
	g.arena = g.arena[:len(g.arena)+n]
}

func (g *gatherer) data(i int) []byte {
	end := len(g.arena)
	if i+1 < len(g.stripes) {
		end = g.stripes[i+1].offset
	}
	return g.arena[g.stripes[i].offset:end]
}

// segments returns what was gathered, or an error for two records that
// disagree on a byte; that two agree is no fault.
func (g *gatherer) segments() ([]Segment, error) {
	order := make([]int, len(g.stripes))
	rising := true
	for i := range order {
		order[i] = i
		if i > 0 && uint64(g.stripes[i-1].address)+uint64(len(g.data(i-1))) > uint64(g.stripes[i].address) {
			rising = false
		}
	}
	arena := g.arena
	if !rising {
		slices.SortFunc(order, func(a, b int) int {
			return cmp.Or(cmp.Compare(g.stripes[a].address, g.stripes[b].address), cmp.Compare(a, b))
		})
		arena = make([]byte, 0, len(g.arena))
	}
	var out []Segment
	from, used := 0, 0 // the last segment is arena[from:used]
	for rank, i := range order {
		at, data := g.stripes[i].address, g.data(i)
		if n := len(out); n > 0 && uint64(at) <= uint64(out[n-1].Address)+uint64(used-from) {
			known := arena[from+int(at-out[n-1].Address) : used]
			known = known[:min(len(known), len(data))]
			for j, b := range known {
				if b != data[j] {
					return nil, g.disagreement(order[:rank], i, j)
				}
			}
			data = data[len(known):]
		} else {
			from = used
			out = append(out, Segment{Address: at})
		}
		if !rising {
			arena = append(arena, data...)
		}
		used += len(data)
		out[len(out)-1].Data = arena[from:used:used]
	}
	return out, nil
}

// disagreement names the two records behind byte j of stripe i, which one of
// the earlier stripes contradicts.
func (g *gatherer) disagreement(earlier []int, i, j int) error {
	here := g.stripes[i]
	address := here.address + uint32(j)
	value, line := g.data(i)[j], here.line+uint32(j)/here.each
	for _, k := range earlier {
		there, data := g.stripes[k], g.data(k)
		if address < there.address || int64(address-there.address) >= int64(len(data)) {
			continue
		}
		offset := address - there.address
		other, otherLine := data[offset], there.line+offset/there.each
		if other == value {
			continue
		}
		if otherLine > line {
			value, line, other, otherLine = other, otherLine, value, line
		}
		return refuse(int(line), "the byte at 0x%X is %02X here and %02X at line %d", address, value, other, otherLine)
	}
	return refuse(int(line), "the byte at 0x%X is defined twice, differently", address)
}

// lengthOf returns how many bytes r will give, or 0 if it does not say. It is
// a hint only: nothing trusts it.
func lengthOf(r io.Reader) int64 {
	switch r := r.(type) {
	case interface{ Len() int }:
		return int64(r.Len())
	case interface{ Stat() (fs.FileInfo, error) }:
		if info, err := r.Stat(); err == nil && info.Mode().IsRegular() {
			return info.Size()
		}
	}
	return 0
}
