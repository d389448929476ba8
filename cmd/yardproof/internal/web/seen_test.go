package web

import (
	"regexp"
	"testing"

	"yardproof/cmd/yardproof/internal/diagnose"
)

// Everything that the page lets somebody tap as seen has one row of the table of
// symptoms, and what the page does by such words does it by those that there are.
func TestSeenIsAnswered(t *testing.T) {
	quoted := regexp.MustCompile(`"([^"]+)"`)
	page := func(name, pattern string) (words map[string]bool) {
		text, err := embedded.ReadFile("page/" + name)
		if err != nil {
			t.Fatal(err)
		}
		words = map[string]bool{}
		for _, list := range regexp.MustCompile(pattern).FindAllSubmatch(text, -1) {
			for _, w := range quoted.FindAllSubmatch(list[1], -1) {
				words[string(w[1])] = true
			}
		}
		return words
	}
	want := map[string]int{
		"nothing lights": 1, "another string answers": 16, "another number": 16,
		"pixels stay lit": 17, "the tail stays lit": 5, "all stays lit": 17,
		"colours in another order": 11, "one pixel dark": 6, "one pixel of another colour": 6,
		"no two neighbours alike": 12, "runs doubled": 14, "it runs backwards": 21,
		"dark after a pixel": 4, "dark past the red": 15, "no red end": 15, "first pixel not green": 21,
		"yellow or red far end": 9, "sparkles when bright": 8, "a step in brightness": 10, "amps too low": 22, "amps too high": 23,
		"flickers": 7, "dies after minutes": 18, "fails when wet": 19,
	}
	words := page("steps.js", `(?:seen: |always = )\[([^\]]*)\]`)
	for w := range words {
		if rows := diagnose.FindSymptoms(w); len(rows) != 1 || rows[0].Number != want[w] {
			t.Errorf("%s: %+v, want row %d", w, rows, want[w])
		}
	}
	if len(words) != len(want) {
		t.Errorf("the page has %d words, %v", len(words), words)
	}
	if rows := diagnose.FindSymptoms("flickers; no red end; dark past the red"); len(rows) != 2 || rows[0].Number != 7 || rows[1].Number != 15 {
		t.Errorf("for three at once: %+v", rows)
	}
	for name, pattern := range map[string]string{"find.js": `("[^"]+"): "(?:nothing|swap|order|break|read|joint)"`, "weigh.js": `("[^"]+"): \(`} {
		known := page(name, pattern)
		if len(known) < 5 {
			t.Errorf("%s: found no words", name)
		}
		for w := range known {
			if !words[w] {
				t.Errorf("%s knows %q, which nobody can tap", name, w)
			}
		}
	}
}
