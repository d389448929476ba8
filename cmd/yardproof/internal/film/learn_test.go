package film

import (
	"slices"
	"strings"
	"testing"

	"yardproof/cmd/yardproof/internal/film/render"
	"yardproof/config"
	"yardproof/patterns/camera"
)

// A draft tells start, count, packing and order of strings that the plan which was sent
// knows nothing of; it loads as a plan. What stands by itself is told, and is no string.
func TestLearn(t *testing.T) {
	sent, err := render.Plan("name: quay\nstrings:\n  - {name: all-1, universe: 3, pixels: 170}\n  - {name: all-2, universe: 4, pixels: 170}\n  - {name: all-3, universe: 9, pixels: 170}\n")
	if err != nil {
		t.Fatal(err)
	}
	y, err := newYard(sent, nil)
	if err != nil {
		t.Fatal(err)
	}
	got := &camera.Reading{}
	hang := func(row float64, start, pixels int, pack config.Pack, order string, dark ...int) {
		for k, a := range lay(start, pixels, 3, pack) {
			if slices.Contains(dark, k) {
				continue
			}
			l := camera.Light{X: 20 + 10*float64(k), Y: row, First: a, Slots: 3, Fit: .95, Margin: 200, Pitch: 10, Noise: .001}
			for _, letter := range order {
				var seen [3]float64
				for c := range seen {
					seen[c] = .08
				}
				seen[strings.IndexRune("RGB", letter)] = .6
				l.Response = append(l.Response, seen)
			}
			got.Lights = append(got.Lights, l)
		}
	}
	hang(20, 0, 50, config.PackWhole, "RGB", 7, 8)
	hang(60, 150, 60, config.PackWhole, "GRB")        // its addresses follow, it hangs elsewhere
	hang(100, 400, 100, config.PackContinuous, "BRG") // straddles into the next universe
	hang(140, 1024+30, 3, config.PackWhole, "RGB")    // a car's light, at most
	slices.SortFunc(got.Lights, func(a, b camera.Light) int { return a.First - b.First })
	var text strings.Builder
	if err := y.learn(got).Write(&text); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"# 48 of 50 pixels seen\n  - {name: seen-1, universe: 3, channel: 1, pixels: 50, order: RGB}",
		"# 60 of 60 pixels seen\n  - {name: seen-2, universe: 3, channel: 151, pixels: 60, order: GRB}",
		"# 100 of 100 pixels seen\n  - {name: seen-3, controller: continuous, universe: 3, channel: 401, pixels: 100, order: BRG}",
		"# 3 lights at universe 9, channel 31: too few",
	} {
		if !strings.Contains(text.String(), want) {
			t.Errorf("%q is missing in:\n%s", want, text.String())
		}
	}
	plan, err := render.Plan(text.String())
	if err != nil {
		t.Fatalf("the draft does not load: %v\n%s", err, text.String())
	}
	if len(plan.Strings) != 3 || plan.Strings[2].Pixels != 100 {
		t.Errorf("%+v", plan.Strings)
	}
}
