package schedule_test

import (
	"math/rand/v2"
	"testing"

	"coilwright/encode/internal/reference"
	"coilwright/lang/definition"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"coilwright/encode/store"
	"coilwright/lang/diag"
)

// TestFormatKeepsTheStore: laying a definition out changes where things stand
// and nothing else.
func TestFormatKeepsTheStore(t *testing.T) {
	compared := 0
	for seed := uint64(0); seed < 200; seed++ {
		text := reference.Random(rand.New(rand.NewPCG(seed, 6)))
		laid, list := definition.Format("random.coil", text)
		if list.Errors() > 0 {
			t.Fatalf("seed %d: %v", seed, list)
		}
		a, before := encode(load(t, "random.coil", text))
		b, after := encode(load(t, "random.coil", laid))
		if before.Errors() != after.Errors() {
			t.Fatalf("seed %d: %d errors before, %d after", seed, before.Errors(), after.Errors())
		}
		if a == nil || before.Errors() > 0 {
			continue
		}
		compared++
		if diff := cmp.Diff(a, b, cmpopts.IgnoreTypes(diag.Place{}), cmpopts.IgnoreFields(store.Store{}, "Hash")); diff != "" {
			t.Fatalf("seed %d: the store before (-) and after (+) format:\n%s", seed, diff)
		}
	}
	if compared < 100 {
		t.Errorf("only %d machines were compared", compared)
	}
}
