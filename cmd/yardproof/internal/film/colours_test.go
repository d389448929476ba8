package film

import (
	"slices"
	"strings"
	"testing"

	"yardproof/config"
	"yardproof/patterns/camera"
)

// lightOf is a light whose slots give this much.
func lightOf(noise float64, gives ...[3]float64) camera.Light {
	return camera.Light{Fit: .9, Noise: noise, Response: gives, Alone: slices.Clone(gives), AloneNoise: slices.Repeat([][3]float64{{noise, noise, noise}}, len(gives))}
}

// A die is missing if it is as good as dark, not if compression or noise took most of
// its light; where noise hides what is there, nothing is said.
func TestMissingDie(t *testing.T) {
	for _, tt := range []struct {
		name                string
		light, alone, noise float64 // of the blue die, as a share of its neighbours'
		fit                 float64
		of                  int // pixels of the string that are read
		want                string
	}{
		{"dark", 0, 0, .02, .9, 9, "B"},
		{"dark, with glare", .15, .15, .02, .9, 9, "B"},
		{"dark, some noise", .05, .05, .12, .9, 9, "B"},
		{"dark, of a dim pixel", 0, 0, .02, .9, 9, "B"},
		{"dark, half hidden", 0, 0, .02, .6, 9, "B"},
		{"hidden for the most part", 0, 0, .02, .5, 9, ""},
		{"weak", .27, .27, .02, .9, 9, ""},
		{"hidden when others shine with it", .15, .56, .08, .62, 9, ""},
		{"lost when it shines alone", .34, .07, .08, .63, 9, ""},
		{"dark, or noise", .05, .05, .25, .9, 9, ""},
		{"too few neighbours", 0, 0, .02, .9, 3, ""},
		{"as its neighbours", 1, 1, .02, .9, 9, ""},
	} {
		var lights []camera.Light
		for range tt.of {
			lights = append(lights, lightOf(tt.noise, [3]float64{1, 0, 0}, [3]float64{0, 1, 0}, [3]float64{0, 0, 1}))
		}
		lights[1].Response[2][2], lights[1].Alone[2][2] = tt.light, tt.alone
		lights[1].Fit = tt.fit
		if strings.Contains(tt.name, "dim") {
			lights[1].Response[0][0], lights[1].Response[1][1] = .45, .4
			lights[1].Alone[0][0], lights[1].Alone[1][1] = .45, .4
		}
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
			l := lightOf(.004, [3]float64{.10, .09, .08}, [3]float64{.12, .13, .12}, [3]float64{.05, .05, .055})
			pixels = append(pixels, &l)
		}
		pixels[4].Response[0], pixels[4].Alone[0] = [3]float64{}, [3]float64{}
		if c := judgeColours("GRB", tt.or, pixels, [3]float64{1, 1, 1}); c.order != "" || c.missing[4] != tt.want {
			t.Errorf("with %q the order is %q, and %q is missing, want %q", tt.or, c.order, c.missing[4], tt.want)
		}
	}
}

// A dark film is nearly grey: what little tells its colours apart tells their order. Grey
// itself tells none.
func TestOrderInTheDark(t *testing.T) {
	for want, gives := range map[config.Order][3][3]float64{
		"GRB": {{.126, .142, .112}, {.100, .076, .070}, {.040, .050, .062}},
		"":    {{.100, .105, .100}, {.105, .100, .100}, {.100, .100, .105}},
	} {
		var pixels []*camera.Light
		for range 9 {
			l := lightOf(.004, gives[:]...)
			pixels = append(pixels, &l)
		}
		pixels[4].Response, pixels[4].Alone = slices.Clone(pixels[4].Response), slices.Clone(pixels[4].Alone)
		pixels[4].Response[0], pixels[4].Alone[0] = [3]float64{}, [3]float64{}
		missing := map[config.Order]string{"GRB": "G", "": "R"}[want]
		if c := judgeColours("RGB", "", pixels, [3]float64{1, 1, 1}); c.order != want || c.missing[4] != missing {
			t.Errorf("the order is %q, want %q; %q is missing, want %q", c.order, want, c.missing[4], missing)
		}
	}
}
