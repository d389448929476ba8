package config

import (
	"bytes"
	"encoding/json"
	"reflect"
	"slices"
	"strings"
	"testing"

	"yardproof/sacn"
	"yardproof/sacn/sacntest"
)

// seeds are the demonstration and every bad plan.
func seeds(f *testing.F) {
	f.Add(demo)
	bad := sacntest.Read(f, "../testdata/plans/bad.txt")
	for _, block := range strings.Split(bad, "\n== ")[1:] {
		_, rest, _ := strings.Cut(block, "\n")
		plan, _, _ := strings.Cut(rest, "\n--")
		f.Add([]byte(plan))
	}
}

// FuzzLoad checks that any text gives problems or a plan that keeps its promises,
// and never a panic.
func FuzzLoad(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		p, problems := Load("p", bytes.NewReader(data))
		m := p.Map()
		for _, pr := range problems {
			if pr.What == "" || pr.Fix == "" || pr.Where.File == "" {
				t.Errorf("a problem without words: %+v", pr)
			}
		}
		if len(m.Strings) != len(p.Strings) {
			t.Fatalf("%d strings are mapped, the plan has %d", len(m.Strings), len(p.Strings))
		}
		for _, u := range m.Universes {
			if u.Number < sacn.MinUniverse || u.Number > sacn.MaxUniverse || u.Channels < 1 || u.Channels > sacn.MaxSlots {
				t.Errorf("universe %+v", u)
			}
		}
		for _, pr := range problems {
			if pr.Severity == Error {
				return
			}
		}
		seen := map[int]*[sacn.MaxSlots]bool{}
		for i, s := range p.Strings {
			if s.Index != i || s.Name == "" || len(s.Feeds) == 0 {
				t.Errorf("string %+v", s)
			}
			if s.Pixels > 10_000 {
				continue // to look at each slot would take long
			}
			total := 0
			for _, c := range m.Strings[i].Copies {
				used := seen[c.Universe]
				if used == nil {
					used = new([sacn.MaxSlots]bool)
					seen[c.Universe] = used
				}
				for slot := c.At; slot < c.At+c.Length; slot++ {
					if slot >= sacn.MaxSlots || used[slot] {
						t.Fatalf("string %s: slot %d of universe %d is used twice or does not exist", s.Name, slot, c.Universe)
					}
					used[slot] = true
				}
				total += c.Length
			}
			if total != s.Pixels*s.ChannelsPerPixel() {
				t.Errorf("string %s: %d slots are mapped of %d", s.Name, total, s.Pixels*s.ChannelsPerPixel())
			}
		}
	})
}

// FuzzNotations checks that a plan means the same as YAML and as JSON, down to the
// words of every problem.
func FuzzNotations(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		d := newDecoder("")
		root, ok := d.tree(data)
		if !ok || len(d.problems) > 0 {
			return // something was lost
		}
		asJSON, err := json.Marshal(plain(&root))
		if err != nil {
			t.Fatal(err)
		}
		if asJSON[0] != '{' || len(asJSON) > maxBytes || separators(asJSON) > maxValues {
			return // JSON is recognized by its bracket, and may be longer
		}
		want, problems := Load("p", bytes.NewReader(data))
		got, again := Load("p", bytes.NewReader(asJSON))
		if len(problems) > maxProblems || len(again) > maxProblems {
			return // which of them are left out depends on their order
		}
		said, saidAgain := words(problems), words(again)
		if !slices.Equal(said, saidAgain) {
			t.Errorf("%s\nhas the problems\n%q\nand as JSON\n%s\nit has\n%q", data, said, asJSON, saidAgain)
		}
		clearMarks(reflect.ValueOf(got), map[any]bool{})
		clearMarks(reflect.ValueOf(want), map[any]bool{})
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%s\nis %+v\nand as JSON\n%s\nit is %+v", data, want, asJSON, got)
		}
	})
}

// plain is a node as the JSON package writes it; a single value is text.
func plain(n *node) any {
	switch n.kind {
	case scalar:
		return n.text
	case list:
		items := make([]any, len(n.items))
		for i := range items {
			items[i] = plain(&n.items[i])
		}
		return items
	case mapping:
		m := map[string]any{}
		for i := range n.entries {
			m[n.entries[i].key] = plain(&n.entries[i].val)
		}
		return m
	}
	return nil
}

func words(problems []Problem) []string {
	var said []string
	for _, p := range problems {
		said = append(said, string(p.Severity)+" "+p.What+"; "+p.Fix)
	}
	slices.Sort(said)
	return said
}
