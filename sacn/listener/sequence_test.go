package listener

import (
	"math/rand/v2"
	"slices"
	"testing"

	"yardproof/sacn"
)

// Every pair of numbers, against the rule of 6.7.2 as sacn states it and
// against counting by hand.
func TestSequenceAllPairs(t *testing.T) {
	for last := range 256 {
		for next := range 256 {
			var q sequence
			q.start(uint8(last))
			d := int(int8(uint8(next - last)))
			v, step, missing := q.next(uint8(next))
			if step != d {
				t.Fatalf("%d after %d: step %d, want %d", next, last, step, d)
			}
			accepted := v == ahead || v == restarted
			if want := sacn.AcceptSequence(uint8(last), uint8(next)); accepted != want {
				t.Errorf("%d after %d: verdict %d, accepted %v, want %v", next, last, v, accepted, want)
			}
			wantMissing := 0
			if d > 0 {
				wantMissing = d - 1
			}
			if missing != wantMissing {
				t.Errorf("%d after %d: %d missing, want %d", next, last, missing, wantMissing)
			}
			if d == 0 && v != duplicate || d < 0 && d > -20 && v != late || d <= -20 && v != restarted {
				t.Errorf("%d after %d: verdict %d", next, last, v)
			}
		}
	}
}

// Random loss, duplication and disorder within the window: the counts must be
// those of a model that knows what was sent.
func TestSequenceAgainstModel(t *testing.T) {
	for seed := range uint64(200) {
		r := rand.New(rand.NewPCG(seed, 1))
		const sent = 3000
		type item struct{ n, order int }
		var wire []item
		lost, duplicates := 0, 0
		for n := range sent {
			if n > 0 && n < sent-1 && r.IntN(100) < 5 {
				lost++
				continue
			}
			wire = append(wire, item{n, n + r.IntN(9)}) // overtaken by 8 at most
			if n > 0 && r.IntN(100) < 3 {
				duplicates++
				wire = append(wire, item{n, n + r.IntN(9)})
			}
		}
		wire[0].order, wire[len(wire)-1].order = -1, sent+10
		slices.SortStableFunc(wire, func(a, b item) int { return a.order - b.order })

		var q sequence
		gotLost, gotLate, gotDuplicates := 0, 0, 0
		wantLate, newest := 0, -1
		seen := make(map[int]bool)
		offset := int(r.Uint32() % 256)
		for i, w := range wire {
			if !seen[w.n] && w.n < newest {
				wantLate++
			}
			seen[w.n], newest = true, max(newest, w.n)
			if i == 0 {
				q.start(uint8(w.n + offset))
				continue
			}
			v, _, missing := q.next(uint8(w.n + offset))
			gotLost += missing
			switch v {
			case late:
				gotLate++
			case duplicate:
				gotDuplicates++
			case restarted:
				t.Fatalf("seed %d: restart at %d", seed, w.n)
			}
		}
		if gotLost != lost || gotLate != wantLate || gotDuplicates != duplicates {
			t.Errorf("seed %d: lost %d late %d duplicates %d, want %d %d %d", seed, gotLost, gotLate, gotDuplicates, lost, wantLate, duplicates)
		}
	}
}
