package diagnose

import (
	"slices"
	"strings"
	"testing"

	"yardproof/config/budget"
)

// Where nothing is wrong yet nobody is told that something is, what may be seen is told in
// words, and what takes minutes is lit by what does not end by itself.
func TestWeighedInWords(t *testing.T) {
	p := demo(t)
	ask := func(looks ...string) (string, *Weighed, Answer) {
		t.Helper()
		out, err := Yard{Plan: p, Budget: budget.New(p)}.Ask(Question{String: "gable-left", Looks: append([]string{}, looks...)})
		if err != nil {
			t.Fatal(err)
		}
		return strings.Join(out.Answer.Next, " "), out.Weighed, *out.Answer
	}
	_, _, a := ask("white=fine with none", "ends=fine")
	if a.Wrong || !strings.HasPrefix(a.Finding, "Nothing wrong has been found") || len(a.Causes) > 0 {
		t.Errorf("%+v", a)
	}
	_, w, _ := ask("white=noise-tail@20 with none")
	if i := slices.Index(w.Signs, "another"); w.Ask != "more=" || i < 0 || w.Says[i] != "more when it is bright" || !strings.Contains(howToAdd(w), "another (more when it is bright)") {
		t.Errorf("%s %q %q: %s", w.Ask, w.Signs, w.Says, howToAdd(w))
	}
	next, _, _ := ask("white=noise-tail@20 with none", "more=fine")
	if !strings.HasPrefix(next, "Show one-slot, slot 1,") || !strings.Contains(next, "for three minutes") {
		t.Error(next)
	}
	next, _, a = ask("white=noise-tail@20 with none", "more=fine", "watch=noise-tail@12", "ends=noise")
	if !a.Wrong || !strings.Contains(a.Causes[0], "water in a joint between pixels 12 and 13") {
		t.Errorf("%q, then %s", a.Causes, next)
	}
}
