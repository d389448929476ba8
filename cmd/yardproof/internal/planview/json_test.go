package planview

import (
	"bytes"
	"errors"
	"strings"
	"testing"

	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
	"yardproof/config/configtest"
)

// TestJSONInPartsIsTheLibrarys prints plans with lists both short and long, with nothing in them and with
// errors: to the octet as the library does at once.
func TestJSONInPartsIsTheLibrarys(t *testing.T) {
	large := configtest.Large(2*jsonLong + 1)
	plans := map[string]string{"sound": large["sound"], "three": large["three"]}
	plans["none"] = ""
	plans["one"] = "name: \"<a & \\\"b\\\">\"\nstrings: [{name: a, universe: 1, pixels: 50}]"
	plans["wrong"] = "strings:\n" + strings.Repeat("  - {name: a, universe: 70000, pixels: 50}\n", 2*jsonLong)
	for name, text := range plans {
		v := New(planfile.Check(config.Load("p", strings.NewReader(text))))
		var parts, whole bytes.Buffer
		if err := v.Print(&parts, "json"); err != nil {
			t.Fatal(err)
		}
		if err := textout.JSON(&whole, v); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(parts.Bytes(), whole.Bytes()) {
			t.Errorf("%s: %d octets in parts, %d at once", name, parts.Len(), whole.Len())
		}
	}
}

var errFull = errors.New("no space left")

type fullDisk struct{ room int }

func (d *fullDisk) Write(b []byte) (int, error) {
	if d.room -= len(b); d.room < 0 {
		return 0, errFull
	}
	return len(b), nil
}

// A full disk is said, wherever it is met.
func TestJSONInPartsEndsAtAnError(t *testing.T) {
	v := New(planfile.Check(config.Load("p", strings.NewReader(configtest.Large(2 * jsonLong)["sound"]))))
	for _, room := range []int{0, 1, 5000, 200_000} {
		if err := v.Print(&fullDisk{room}, "json"); !errors.Is(err, errFull) {
			t.Errorf("with room for %d octets: %v", room, err)
		}
	}
}
