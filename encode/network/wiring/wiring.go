// Package wiring is a network as it would be soldered: parts, connector pins and the wires between their terminals, and nothing that says what they are for.
package wiring

import "strconv"

// List is what the solder station works from and what the proof is given. A
// net is whatever wires and solder joints hold together; no net is named here,
// so that a wire that was moved at the bench moves the net with it.
type List struct {
	Machine string
	Title   string
	Hash    string // SHA-256 of the definition, 64 hex digits
	Style   string // "plain", "shared", "minimal"

	// Negative: phase wires and the feed carry the negative side of the supply,
	// and every diode points the other way.
	Negative bool
	Levels   int // diodes in series that the supply allows for

	Relays []Relay
	Diodes []Diode
	Pins   []Pin
	Wires  []Wire
}

// Relay has a coil between A1 and A2 and transfer contacts: pole n has the
// terminals n1 (common), n2 (break: joined to n1 at rest) and n4 (make). The
// numbers are those of EN 50005. Where suppression is a diode it is a Diode of its own.
type Relay struct {
	Name  string // "K3"
	Card  string // "control 1"
	Site  int    // on the card, from 1
	Poles int
}

// Diode conducts from its anode (A) to its cathode (K), the end with the band.
type Diode struct {
	Name string // "D17"
	Card string
}

// Pin is a pin of a card's connector, and what it meets on the backplane.
type Pin struct {
	Name string // "J1"; terminals are "J1:14"
	Card string
	Pin  int
	Use  Use
}

// Kind of a connector pin's use.
type Kind string

const (
	Phase  Kind = "phase"  // N: the phase, from 1: carries the feed while the sequencer stands there, else nothing
	Opcode Kind = "opcode" // N: the bit of the opcode slice, from 0: carries the feed while the bit is 1, else nothing
	Flag   Kind = "flag"   // Name, and N: its number in the store's Flags: carries the feed while the flag is 1, else nothing
	Line   Kind = "line"   // Name, and N: its number in the store's Columns: a coil to the return lies behind it
	Feed   Kind = "feed"   // the side of the supply that phase wires carry: + on a positive card
	Return Kind = "return" // the other side
	Link   Kind = "link"   // N: the number of a wire that runs from card to card: all pins of one number are joined
	Spare  Kind = "spare"  // nothing on the backplane
)

// Use says what a pin meets outside its card.
type Use struct {
	Kind Kind
	N    int
	Name string
}

// Wire joins two terminals: a wire, a track or two leads in one joint.
type Wire struct {
	Net  string // what the sheet calls it; means nothing to the proof
	From Terminal
	To   Terminal
}

// Terminal is a point that can be soldered to: "K3:A1", "K3:14", "D17:K", "J1:14".
type Terminal string

// Coil returns the terminals of the coil. A1 is the side that faces the feed.
func (r Relay) Coil() (a1, a2 Terminal) {
	return Terminal(r.Name + ":A1"), Terminal(r.Name + ":A2")
}

// Pole returns the terminals of pole n, from 1.
func (r Relay) Pole(n int) (common, breaks, makes Terminal) {
	pole := r.Name + ":" + strconv.Itoa(n)
	return Terminal(pole + "1"), Terminal(pole + "2"), Terminal(pole + "4")
}

// Ends returns the terminals of a diode.
func (d Diode) Ends() (anode, cathode Terminal) {
	return Terminal(d.Name + ":A"), Terminal(d.Name + ":K")
}

// Terminal returns the pin's point on the card.
func (p Pin) Terminal() Terminal { return Terminal(p.Name + ":" + strconv.Itoa(p.Pin)) }
