package rehearse

// denseWords is the most words of all memories that are kept in one piece: 8 MiB.
const denseWords = 1 << 20

// memory is the words of one memory; what was never written reads 0.
type memory struct {
	words  uint64
	dense  []uint64
	sparse map[uint64]uint64 // of a memory that is not in one piece
}

func newMemory(words uint64, dense bool) *memory {
	m := &memory{words: words}
	if dense {
		m.dense = make([]uint64, words)
	} else {
		m.sparse = map[uint64]uint64{}
	}
	return m
}

func (m *memory) at(index uint64) uint64 {
	index = m.wrap(index)
	if m.dense != nil {
		return m.dense[index]
	}
	return m.sparse[index]
}

func (m *memory) set(index, value uint64) {
	index = m.wrap(index)
	if m.dense != nil {
		m.dense[index] = value
	} else {
		m.sparse[index] = value
	}
}

// wrap is where an index lands in a memory that has fewer words than the index
// has values: the upper address wires lead nowhere.
func (m *memory) wrap(index uint64) uint64 {
	if index < m.words {
		return index
	}
	if m.words == 0 {
		return 0
	}
	return index % m.words
}

// differences lists the words that are not as in before, which holds what is not 0.
func (m *memory) differences(before map[uint64]uint64) map[uint64]uint64 {
	out := map[uint64]uint64{}
	if m.dense != nil {
		for i, v := range m.dense {
			if v != 0 {
				out[uint64(i)] = v
			}
		}
	} else {
		for i, v := range m.sparse {
			if v != 0 {
				out[i] = v
			}
		}
	}
	for i, v := range before {
		if m.at(i) == v {
			delete(out, i)
		} else {
			out[i] = m.at(i)
		}
	}
	return out
}
