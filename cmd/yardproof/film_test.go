package main

import (
	"encoding/json"
	"fmt"
	"image/png"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"yardproof/cmd/yardproof/internal/film/render"
	"yardproof/sacn/sacntest"
)

// shot is a small film of a yard with planted faults.
type shot struct {
	yard                  *render.Yard
	frames, plan, drawing string // files: the film's frames, the plan, where the pixels hang
}

func shoot(t *testing.T) shot {
	t.Helper()
	scene := render.Small()
	scene.Seed, scene.StringFaults, scene.Hot, scene.Dieless = 51, true, .01, .01 // of this seed one string begins elsewhere, one is reversed, two are sound
	y, _, film, err := render.Shoot(scene)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	f := shot{y, filepath.Join(dir, "shot"), filepath.Join(dir, "street.yaml"), filepath.Join(dir, "drawing.json")}
	type spot struct {
		String string  `json:"string"`
		Pixel  int     `json:"pixel"`
		X      float64 `json:"x"`
		Y      float64 `json:"y"`
	}
	var spots []spot
	for _, s := range y.Strings {
		for k, at := range s.Drawn {
			spots = append(spots, spot{s.Name, k + 1, at[0], at[1]})
		}
	}
	places, err := json.Marshal(map[string]any{"pixels": spots})
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(f.frames, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := render.Write(f.frames, film); err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{f.plan: y.Plan, f.drawing: string(places)} {
		sacntest.Write(t, name, text)
	}
	return f
}

// TestFilm renders one film, since that is most of the work, and has it read from its
// frames and as phones leave films behind.
func TestFilm(t *testing.T) {
	t.Parallel()
	film := shoot(t)
	t.Run("frames", func(t *testing.T) { t.Parallel(); readsFrames(t, film) })
	t.Run("phones", func(t *testing.T) { t.Parallel(); readsPhones(t, film) })
}

// readsFrames holds what is printed, drawn and recorded against what was planted.
func readsFrames(t *testing.T, film shot) {
	t.Helper()
	y, frames, plan, drawing := film.yard, film.frames, film.plan, film.drawing
	still, state := filepath.Join(t.TempDir(), "still.png"), t.TempDir()
	code, stdout, stderr := call(t, "film", frames, plan, "--places", drawing, "--format", "json", "--still", still, "--record", "--keep-picture", "--state", state)
	var got struct {
		Strings []struct {
			Name         string
			Findings     []struct{ Kind, Says, Do string }
			Seen, Pixels int
		}
		Pixels []struct {
			String, Verdict, Detail string
			Pixel                   int
			X, Y, Confidence        float64
		}
	}
	if err := json.Unmarshal([]byte(stdout), &got); err != nil || code != exitFound {
		t.Fatalf("exit %d, %v; said %s", code, err, stderr)
	}
	sound, faults := map[string]bool{}, 0
	for i, s := range got.Strings {
		f := y.Strings[i].Fault.Kind
		sound[s.Name] = f == ""
		if f != "" {
			faults++
		}
		if s.Name != y.Strings[i].Name || s.Pixels != len(y.Strings[i].Pixels) || (f == "") != (len(s.Findings) == 0) || f != "" && s.Findings[0].Kind != f {
			t.Errorf("planted on %s: %q; said: %+v", y.Strings[i].Name, f, s)
		}
	}
	planted := map[string]int{}
	for i, p := range got.Pixels {
		truth := y.Strings[i/24].Pixels[p.Pixel-1]
		want := "good"
		switch {
		case truth.Hot:
			want = "stuck"
		case truth.Missing != "":
			want = "colour-missing"
		}
		if planted[want]++; sound[p.String] && (p.Verdict != want || p.Confidence < .9 || p.X <= 0 || p.Y <= 0) {
			t.Errorf("%+v, and it is %s", p, want)
		}
	}
	if faults < 2 || planted["colour-missing"] == 0 || planted["good"] < 80 {
		t.Errorf("%d faults of strings and %v were planted", faults, planted)
	}
	picture, err := os.Open(still)
	if err != nil {
		t.Fatal(err)
	}
	defer picture.Close()
	if m, err := png.Decode(picture); err != nil || m.Bounds().Dx() != y.Width {
		t.Errorf("the still: %v", err)
	}
	learns(t, y, frames, plan)
	if code, paper, _ := call(t, "report", plan, "--state", state, "--format", "html"); code != 0 || !strings.Contains(paper, "Where pixels were seen, by the film shot of 20") || !strings.Contains(paper, "data:image/jpeg;base64,/9j/") {
		t.Errorf("exit %d; the printed sheet lacks the picture", code)
	}
	code, sheet, _ := call(t, "report", plan, "--state", state)
	for _, want := range []string{"Where pixels were seen, by the film shot of 20", "s1      fault", "s2      fault", "s4      good", "It answers addresses", "film shot of 20", "24 of 24 pixels seen", "Its last address is at its first pixel"} {
		if code != 0 || !strings.Contains(sheet, want) {
			t.Errorf("exit %d; the sheet of proofs lacks %q:\n%s", code, want, sheet)
		}
	}
}

// learns checks that a draft from the light has each string where it really begins, as
// long as it is and in its order, whatever the plan says.
func learns(t *testing.T, y *render.Yard, frames, plan string) {
	t.Helper()
	code, draft, stderr := call(t, "film", frames, plan, "--learn")
	if code != 0 {
		t.Fatalf("exit %d: %s", code, stderr)
	}
	for _, s := range y.Strings {
		first := slices.Min(slices.Concat(s.Pixels[0].Hears, s.Pixels[len(s.Pixels)-1].Hears))
		want := fmt.Sprintf("universe: %d, channel: %d, pixels: %d, order: ", first/512+1, first%512+1, len(s.Pixels))
		if !strings.Contains(draft, want) {
			t.Errorf("the draft lacks %q, of %s:\n%s", want, s.Name, draft)
		}
	}
	path := sacntest.File(t, "draft.yaml", draft)
	// What begins elsewhere really lies on its neighbour: the draft's own check names it.
	if code, _, stderr := call(t, "plan", path); code != exitFound || strings.Count(stderr, "error:") != 1 || !strings.Contains(stderr, "string seen-2 and string seen-1 overlap") {
		t.Errorf("exit %d of the draft's plan: %s", code, stderr)
	}
}

// TestNoFilm checks that what is no film, or too little of one, is told in one sentence.
func TestNoFilm(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	file := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		sacntest.Write(t, path, text)
		return path
	}
	plan, torn := file("plan.yaml", "strings:\n  - {name: a, universe: 1, pixels: 50}\n"), file("torn.yaml", "strings:\n  - {name: a, univers: 1}\n")
	file("empty/readme.txt", "")
	file("untimed/1.jpg", "")
	file("odd/1.jpg", "")
	file("odd/times.txt", "0\n0.1\n")
	file("word/1.jpg", "")
	file("word/times.txt", "0\nsoon\n")
	file("torn/1.jpg", "\xff\xd8")
	file("torn/times.txt", "0\n")
	zero, places := file("zero.mp4", ""), file("places.json", `{"pixels": [{"string": "a", "pixel": 0}]}`)
	for _, tt := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{}, 2, "name a film, or a directory of JPEG frames with times.txt"},
		{[]string{zero}, 2, "the film needs the plan that was sent\n  what to do: write yardproof film " + zero + " PLAN"},
		{[]string{zero, plan, "c"}, 2, `unexpected argument "c"`},
		{[]string{zero, plan, "--format", "csv"}, 2, `--format "csv" is not text or json`},
		{[]string{zero, plan, "--still", "a.gif"}, 2, "its name must end in .png or .jpg"},
		{[]string{zero, plan, "--learn", "--record"}, 2, "--learn prints a plan from one film"},
		{[]string{zero, plan, "--stage", "opening"}, 2, "--stage, --state and --keep-picture are for --record"},
		{[]string{zero, plan, "--record", "--stage", "bench"}, 2, `--stage "bench" is not hung or opening`},
		{[]string{zero, dir + "/none.yaml"}, 2, "there is no plan"},
		{[]string{zero, torn}, 1, torn + ":2:"},
		{[]string{zero, plan, "--places", places}, 1, `string "a" has a pixel 0; count from 1`},
		{[]string{dir + "/none.mp4", plan}, 1, "there is no film " + dir + "/none.mp4"},
		{[]string{zero, plan}, 1, "zero.mp4 is empty: copy it from the phone again"},
		{[]string{"/dev/null", plan}, 1, "/dev/null is neither a file nor a directory"},
		{[]string{dir + "/empty", plan}, 1, "has no JPEG frames"},
		{[]string{dir + "/untimed", plan}, 1, "untimed/times.txt is missing: write in it when each frame was shown"},
		{[]string{dir + "/odd", plan}, 1, "has 1 frame and times.txt 2 times"},
		{[]string{dir + "/word", plan}, 1, `word/times.txt:2: "soon" is no time: write seconds, such as 0.077`},
		{[]string{dir + "/torn", plan}, 1, "torn/1.jpg: the frame is no whole JPEG picture"},
	} {
		code, stdout, stderr := call(t, append([]string{"film"}, tt.args...)...)
		if code != tt.code || !strings.Contains(stderr, tt.want) || stdout != "" {
			t.Errorf("%q: exit %d, want %d; said %q, want %q; printed %q", tt.args, code, tt.code, stderr, tt.want, stdout)
		}
	}
}
