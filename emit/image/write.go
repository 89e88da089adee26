package image

import (
	"fmt"
	"io"
)

// Form is a file format of a memory image.
type Form string

// The forms, by the names the command line uses.
const (
	FormBin    Form = "bin"
	FormHex    Form = "hex"
	FormSrec   Form = "srec"
	FormHeader Form = "header"
	FormMemh   Form = "memh"
)

// Forms lists every form in the order that help texts show them.
func Forms() []Form { return []Form{FormBin, FormHex, FormSrec, FormHeader, FormMemh} }

// Addressing says how Intel HEX reaches beyond 64 KiB.
type Addressing int

const (
	Linear    Addressing = iota // type 04 records: 4 GiB
	Segmented                   // type 02 records: 1 MiB
)

// DefaultRecord is the data bytes in a record if none are asked for. A HEX
// record of n bytes is 11 + 2n characters with its colon, and the receive
// buffer of a common loader board holds 63: 16 bytes fit, 32 don't.
const DefaultRecord = 16

// LargestSize bounds an image and Options.Size, in bytes: above any chip a
// builder can buy.
const LargestSize = 1 << 30

// Options shape a file. The zero value is right for most.
type Options struct {
	Record     int        // data bytes a record, hex and srec; 0 = DefaultRecord
	Addressing Addressing // hex
	Base       uint32     // byte address of the first byte, hex and srec
	Size       int        // bytes of the chip, filled up past the last word; 0 = as long as the image
}

// Write writes the image in a form. It fails, before it writes anything, if
// the options do not fit the form or the image, and as w fails.
func Write(w io.Writer, im *Image, form Form, o Options) error {
	im, err := im.sized(form, o.Size)
	if err != nil {
		return err
	}
	if o.Base != 0 && form != FormHex && form != FormSrec {
		return fmt.Errorf("a base address 0x%X means nothing in form %s: only hex and srec carry addresses", o.Base, form)
	}
	switch form {
	case FormBin:
		_, err = w.Write(im.Data)
		return err
	case FormHex:
		return Hex(w, im.Data, o.Base, o)
	case FormSrec:
		return Srec(w, im.Machine, im.Data, o.Base, o)
	case FormMemh:
		return writeMemh(w, im)
	case FormHeader:
		return writeHeader(w, im)
	}
	return fmt.Errorf("no form %q: bin, hex, srec, header or memh", form)
}

// sized returns the image filled up to size bytes; size 0 leaves it alone.
// The forms that are lists of words need a size in whole words.
func (im *Image) sized(form Form, size int) (*Image, error) {
	have := len(im.Data)
	switch {
	case size == 0 || size == have:
		return im, nil
	case size < have:
		return nil, fmt.Errorf("the image has %d bytes and does not fit into %d", have, size)
	case size > LargestSize:
		return nil, fmt.Errorf("a size of %d bytes is more than any chip has: at most %d", size, LargestSize)
	case (form == FormMemh || form == FormHeader) && size%im.BytesPerWord != 0:
		return nil, fmt.Errorf("%d bytes are not whole words of %d bytes, as form %s needs", size, im.BytesPerWord, form)
	}
	longer := *im
	longer.Data = make([]byte, size)
	copy(longer.Data, im.Data)
	for i := have; i < size; i++ {
		longer.Data[i] = im.Fill
	}
	longer.Words = size / im.BytesPerWord
	return &longer, nil
}

// record returns the data bytes a record, or why there can't be so many.
func (o Options) record(most int, kind string) (int, error) {
	switch {
	case o.Record == 0:
		return DefaultRecord, nil
	case o.Record < 0 || o.Record > most:
		return 0, fmt.Errorf("%d bytes a record: %s records hold 1 to %d", o.Record, kind, most)
	}
	return o.Record, nil
}

// about names the image for a comment.
func (im *Image) about() string {
	text := "control store"
	if im.Exercise {
		text = "exercise store"
	}
	if im.Chip > 0 {
		text += fmt.Sprintf(", chip %d of %d", im.Chip, im.Chips)
	}
	return text
}

// shortHash is the part of the definition's hash that text artefacts carry (language.md S.7).
func (im *Image) shortHash() string { return im.Hash[:min(12, len(im.Hash))] }
