package film

import (
	"testing"

	"yardproof/config"
	"yardproof/patterns/camera"
)

// A die is missing if it is as good as dark, not if compression or noise took most of
// its light; where noise hides what is there, nothing is said.
func TestMissingDie(t *testing.T) {
	for _, tt := range []struct {
		name         string
		light, noise float64 // of the blue die, as a share of its neighbours'
		of           int     // pixels of the string that are read
		want         string
	}{
		{"dark", 0, .02, 9, "B"},
		{"dark, with glare", .15, .02, 9, "B"},
		{"dark, some noise", .05, .12, 9, "B"},
		{"weak", .27, .02, 9, ""},
		{"dark, or noise", .05, .25, 9, ""},
		{"too few neighbours", 0, .02, 3, ""},
		{"as its neighbours", 1, .02, 9, ""},
	} {
		var lights []camera.Light
		for range tt.of {
			lights = append(lights, camera.Light{Fit: .9, Noise: tt.noise, Response: [][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}})
		}
		lights[1].Response[2][2] = tt.light
		var pixels []*camera.Light
		for i := range lights {
			pixels = append(pixels, &lights[i])
		}
		c := judgeColours("RGB", "", pixels, [3]float64{1, 1, 1})
		for k, got := range c.missing {
			want := ""
			if k == 1 {
				want = tt.want
			}
			if got != want {
				t.Errorf("%s: of pixel %d %q is missing, want %q", tt.name, k+1, got, want)
			}
		}
	}
}

// The slots of a swapped string have the order of the port that it hangs on: where the
// film is too dark to tell another order for sure, it still names the right die.
func TestMissingDieOfSwapped(t *testing.T) {
	for _, tt := range []struct {
		or   config.Order
		want string
	}{{"", "G"}, {"RGB", "R"}, {"BGR", "G"}} {
		var pixels []*camera.Light
		for range 9 {
			pixels = append(pixels, &camera.Light{Fit: .9, Noise: .004, Response: [][3]float64{{.10, .09, .08}, {.12, .13, .12}, {.05, .05, .055}}})
		}
		pixels[4].Response[0] = [3]float64{}
		if c := judgeColours("GRB", tt.or, pixels, [3]float64{1, 1, 1}); c.order != "" || c.missing[4] != tt.want {
			t.Errorf("with %q the order is %q, and %q is missing, want %q", tt.or, c.order, c.missing[4], tt.want)
		}
	}
}
