package film

import (
	"context"
	"testing"

	"yardproof/cmd/yardproof/internal/film/render"
	rehearsal "yardproof/cmd/yardproof/internal/rehearsal/yard"
)

// The rehearsed yard films itself: its receivers, ports and chips, which know nothing of
// films, light what they are sent, and a film names what was planted in them.
func TestRehearsedYard(t *testing.T) {
	t.Parallel()
	scene := render.Small()
	scene.Rolling = 0
	y := render.New(scene)
	plan, err := render.Plan(y.Plan)
	if err != nil {
		t.Fatal(err)
	}
	show, err := render.Send(plan)
	if err != nil {
		t.Fatal(err)
	}
	if err := y.Rehearse(plan, show,
		rehearsal.Fault{Kind: rehearsal.WrongStart, String: "s1", Severity: 6},
		rehearsal.Fault{Kind: rehearsal.WrongOrder, String: "s2", Severity: 1},
		rehearsal.Fault{Kind: rehearsal.DeadPixel, String: "s3", Place: 9},
		rehearsal.Fault{Kind: rehearsal.DeadColour, String: "s4", Place: 5, Severity: 2}); err != nil {
		t.Fatal(err)
	}
	frames, err := y.Film(show)
	if err != nil {
		t.Fatal(err)
	}
	r, err := New(plan, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range frames {
		if err := r.Add(f.At, f.JPEG); err != nil {
			t.Fatal(err)
		}
	}
	res, err := r.Read(context.Background(), nil)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []Kind{KindStart, KindOrder, "", ""} {
		found := res.Strings[i].Findings
		if want == "" && len(found) > 0 || want != "" && (len(found) != 1 || found[0].Kind != want) {
			t.Errorf("%s: %+v, want %q", res.Strings[i].Name, found, want)
		}
	}
	if f := res.Strings[0].Findings; len(f) > 0 && f[0].Count != 6 {
		t.Errorf("it begins %d channels later, want 6", f[0].Count)
	}
	for _, p := range res.Pixels {
		want := Good
		switch {
		case p.String == "s1":
			want = OtherAddress
		case p.String == "s2":
			want = ColourOrder
		case p.String == "s3" && p.Pixel == 9:
			want = NotSeen
		case p.String == "s4" && p.Pixel == 5:
			want = ColourMissing
		}
		if p.Verdict != want || want == ColourMissing && p.Detail != "blue" {
			t.Errorf("%+v, want %s", p, want)
		}
	}
}
