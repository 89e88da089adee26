package readback

import (
	"errors"
	"io"
)

// largestBinary bounds what Bin takes in, in bytes: 2^24 words of 1,024 lines.
const largestBinary = 2 << 30

// Bin reads a raw binary as the bytes from address 0 on. It fails above 2 GiB.
func Bin(r io.Reader) (*Memory, error) {
	data, err := io.ReadAll(io.LimitReader(r, largestBinary+1))
	switch {
	case err != nil:
		return nil, err
	case len(data) > largestBinary:
		return nil, errors.New("more than 2 GiB: no memory image is so long")
	case len(data) == 0:
		return new(Memory), nil
	}
	return &Memory{Segments: []Segment{{0, data}}}, nil
}
