package film

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"yardproof/cmd/yardproof/internal/film/render"
)

// A pixel that straddles two universes is known by its first slot, the 511th; where
// pixels stay whole the next universe begins with it.
func TestStraddling(t *testing.T) {
	for pack, want := range map[string]int{"continuous": 510, "whole": 512} {
		plan, err := render.Plan("name: quay\ncontrollers: [{name: c, pack: " + pack + "}]\nstrings: [{name: rail, controller: c, universe: 1, channel: 1, pixels: 200}]\n")
		if err != nil {
			t.Fatal(err)
		}
		y, err := newYard(plan, nil)
		if err != nil {
			t.Fatal(err)
		}
		first := y.strings[0].first
		if len(first) != 200 || first[169] != 507 || first[170] != want || first[199] != want+29*3 {
			t.Errorf("%s: %d pixels; the 171st is at %d, want %d", pack, len(first), first[170], want)
		}
		if y.owner[want] != (owner{0, 170}) {
			t.Errorf("%s: address %d is of %+v", pack, want, y.owner[want])
		}
	}
}

// 512 universes are told apart, and all their slots; of one more the sentence says what
// to do.
func TestLargestYard(t *testing.T) {
	yardOf := func(universes int) (*yard, error) {
		var b strings.Builder
		b.WriteString("name: quay\nstrings:\n")
		for u := range universes {
			fmt.Fprintf(&b, "  - {name: s%d, universe: %d, channel: 1, pixels: 170}\n", u+1, u+1)
		}
		plan, err := render.Plan(b.String())
		if err != nil {
			t.Fatal(err)
		}
		return newYard(plan, nil)
	}
	y, err := yardOf(512)
	if err != nil {
		t.Fatal(err)
	}
	if len(y.owner) != 512*170 || y.owner[511*512+169*3] != (owner{511, 169}) {
		t.Errorf("%d pixels; the last is %+v", len(y.owner), y.owner[511*512+169*3])
	}
	if _, err := yardOf(513); !errors.Is(err, ErrYard) || !strings.Contains(err.Error(), "513 universes, and the pattern code tells 512 apart; film in parts") {
		t.Error(err)
	}
}
