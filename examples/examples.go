// Package examples embeds the machines that come with Coilwright: one folder a machine, its definition and a page about it.
package examples

import "embed"

// FS holds a folder for each of Names, and in it NAME.coil, the definition,
// and README.md.
//
//go:embed millrace firststeps textbook
var FS embed.FS

// Names lists the machines; the first is the one to begin a machine of one's
// own from.
func Names() []string { return []string{"millrace", "firststeps", "textbook"} }
