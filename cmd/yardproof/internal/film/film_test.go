package film

import (
	"strings"
	"testing"

	"yardproof/cmd/yardproof/internal/record"
)

// seenOf is a result of one film: a string of three pixels for each list of verdicts.
func seenOf(verdicts ...[3]Verdict) *Result {
	r := &Result{Plan: "Harbour Street", Films: []Film{{Seconds: 20, Frames: 260, Width: 1280, Height: 720}}}
	for i, of := range verdicts {
		s := String{Name: string(rune('a' + i)), Findings: []Finding{}, Pixels: len(of)}
		for k, v := range of {
			p := Pixel{String: s.Name, Pixel: k + 1, Verdict: v, Confidence: .9}
			if v != NotSeen {
				p.X, p.Y = float64(10*k+10), 20
			}
			if v == ColourMissing {
				p.Detail = "blue"
			}
			if v != NotSeen && v != Stuck {
				s.Seen++
			}
			r.Pixels = append(r.Pixels, p)
		}
		r.Strings = append(r.Strings, s)
	}
	return r
}

// Good is what was seen as a whole; what was seen in part and has no fault proves
// nothing; of what was not seen at all there is nothing to record.
func TestProofs(t *testing.T) {
	r := seenOf([3]Verdict{Good, Good, Good}, [3]Verdict{Good, NotSeen, Good}, [3]Verdict{Good, NotSeen, ColourMissing}, [3]Verdict{NotSeen, NotSeen, NotSeen},
		[3]Verdict{Stuck, Good, Good}, [3]Verdict{Good, Good, Good})
	r.Strings[5].Findings = []Finding{{Kind: KindDouble, Says: "Its addresses are seen at two places."}} // and is not sure
	got := map[string]record.Line{}
	for _, l := range r.Proofs(record.Opening, "film x") {
		if err := l.Check(); err != nil {
			t.Error(err)
		}
		if l.Stage != record.Opening || l.Pattern != "code" || l.Plan != "Harbour Street" {
			t.Errorf("%+v", l)
		}
		got[l.String] = l
	}
	for name, want := range map[string]record.Line{
		"a": {Kind: record.Proof, Verdict: record.Good, Seen: "film x: 3 of 3 pixels seen"},
		"b": {Kind: record.Note, Seen: "film x: 2 of 3 pixels seen", Note: "nothing wrong is seen; not seen: 1 pixel (2)"},
		"c": {Kind: record.Proof, Verdict: record.Fault, Seen: "film x: 2 of 3 pixels seen", Note: "no blue: 1 pixel (3); not seen: 1 pixel (2)"},
		"e": {Kind: record.Proof, Verdict: record.Fault, Seen: "film x: 2 of 3 pixels seen", Note: "lit while all is dark: 1 pixel (1)"},
		"f": {Kind: record.Note, Seen: "film x: 3 of 3 pixels seen", Note: "nothing wrong is seen; Its addresses are seen at two places"},
	} {
		if l := got[name]; l.Kind != want.Kind || l.Verdict != want.Verdict || l.Seen != want.Seen || l.Note != want.Note {
			t.Errorf("%s: %+v, want %+v", name, l, want)
		}
	}
	if len(got) != 5 {
		t.Errorf("%d strings are on record", len(got))
	}
}

// What another side shows was seen; what one side shows to be wrong stays wrong.
func TestMerge(t *testing.T) {
	front := seenOf([3]Verdict{Good, NotSeen, NotSeen}, [3]Verdict{Good, ColourMissing, Good}, [3]Verdict{Stuck, Good, Good})
	back := seenOf([3]Verdict{NotSeen, Good, NotSeen}, [3]Verdict{Good, Good, Good}, [3]Verdict{Good, Good, NotSeen})
	r := Merge(front, back)
	want := []Verdict{Good, Good, NotSeen, Good, ColourMissing, Good, Good, Good, Good}
	for i, p := range r.Pixels {
		if p.Verdict != want[i] {
			t.Errorf("%s, pixel %d: %s, want %s", p.String, p.Pixel, p.Verdict, want[i])
		}
	}
	if len(r.Films) != 2 || r.Strings[0].Seen != 2 || r.Pixels[1].Film != 1 || front.Pixels[1].Verdict != NotSeen {
		t.Errorf("%+v", r)
	}
	var text strings.Builder
	if err := r.Text(&text); err != nil {
		t.Fatal(err)
	}
	for _, line := range []string{"8 of 9 pixels seen.", "b: 3 of 3 pixels seen", "  no blue: 1 pixel (2)", "a: 2 of 3 pixels seen", "  not seen: 1 pixel (3)",
		"Not seen is not dead: a branch before it looks the same. Film from another side, or walk there.", "Seen as a whole, and good: c."} {
		_, after, ok := strings.Cut(text.String(), line+"\n")
		if !ok {
			t.Errorf("%q is missing, or in another order, in:\n%s", line, text.String())
			continue
		}
		text.Reset()
		text.WriteString(after)
	}
}
