package main

import (
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/config/protection"
	"yardproof/sacn/sacntest"
)

// A gable without a fuse, fed too thinly, on a port that is too full for a frame of 25 ms.
const harbour = `name: harbour street # winter lights
controllers:
  - {name: boathouse, address: 192.0.2.10, ports: 3}
supplies:
  - {name: hut, volts: 12, watts: 350, at: [0, 0]} # beside the door
stock:
  wire: [{awg: 18, price: 0.6, have: 30}, {awg: 16, price: 0.9}]
  fuses: [{amps: 3, price: 0.5, have: 1}, {amps: 5, price: 0.5}]
  connectors: {price: 1.2}
strings:
  # anna hung it
  - name: gable
    label: A1
    controller: boathouse
    port: 1
    universe: 1
    pixels: 100
    supply: hut
    amps_per_pixel: 0.04 # metered
    pitch: {awg: 18, millimetres: 76}
    at: [3, 0]
    to: [3, 8]
    feeds:
      - {at: start, awg: 18, metres: 1} # by the window
  - {name: rail, label: A2, controller: boathouse, port: 1, after: gable, universe: 2, pixels: 500, supply: hut, amps_per_pixel: 0.0002, pitch: {awg: 18, millimetres: 76}, fuse_amps: 3}
  - {name: quay, label: A3, controller: boathouse, port: 1, after: rail, universe: 5, pixels: 400, supply: hut, amps_per_pixel: 0.0002, pitch: {awg: 18, millimetres: 76}, fuse_amps: 3}
`

// TestProposeFeeds works through a proposal as somebody would: reads it, has it written,
// finds the comments where they were and nothing left to propose.
func TestProposeFeeds(t *testing.T) {
	file := filepath.Join(t.TempDir(), "harbour.yaml")
	if err := os.WriteFile(file, []byte(harbour), 0o640); err != nil {
		t.Fatal(err)
	}
	code, text, talk := call(t, "plan", file, "--propose")
	for _, want := range []string{
		"Proposed for 1 string, at full white: cost ", ", today 1.80.", // a metre of 18 AWG and a connector
		"Of all that was tried nothing that holds costs less.",
		"Today: its feed at start has no fuse",
		"start  hut   18 AWG copper       1   3 A", "changed", "new",
		"and refused, no feed at start: full white takes ",
		"Feeds were tried at 100 places.",
		"To cut\n", "To buy\n", "one pixel in twenty (common practice, no source)",
		"helps a licensed person decide",
		"-      - {at: start, awg: 18, metres: 1} # by the window\n+      - {at: start, awg: 18, metres: 1, fuse_amps: 3}  # by the window\n",
	} {
		if code != exitFine || talk != "" || !strings.Contains(text, want) {
			t.Errorf("exit %d, says %q, lacks %q:\n%s", code, talk, want, text)
		}
	}
	if now, _ := os.ReadFile(file); string(now) != harbour {
		t.Error("the plan was written unasked")
	}

	var v struct {
		GapPercent float64 `json:"gap_percent"`
		Patch      string
		Cautions   []string
		Strings    []struct {
			Name    string
			Because []string
			Feeds   []struct {
				At     string
				Metres float64
			}
			CheaperRefused []struct{ What, Why string } `json:"cheaper_refused"`
		}
		NotProposed []struct{ Name, Why string } `json:"not_proposed"`
		Cost        struct{ Today, Proposed, Least float64 }
		Bill        struct {
			Cuts  []struct{ For []string }
			Items []struct {
				Item  string
				ToBuy float64 `json:"to_buy"`
			}
		}
	}
	_, text, _ = call(t, "plan", file, "--propose", "--lose-a-feed", "--format", "json")
	sacntest.JSON(t, text, &v)
	if len(v.Strings) != 1 || len(v.NotProposed) != 2 || v.GapPercent != 0 || v.Cost.Least != v.Cost.Proposed || v.Patch == "" || len(v.Cautions) == 0 || len(v.Bill.Cuts) == 0 || len(v.Bill.Items) == 0 {
		t.Errorf("with a feed lost: %+v", v)
	}
	for _, r := range v.NotProposed { // no place of theirs is known, nor a lead
		if !strings.HasPrefix(r.Why, "how far it is from supply hut is not known: write at: for both") {
			t.Errorf("%s: %s", r.Name, r.Why)
		}
	}
	for _, s := range v.Strings {
		for _, f := range s.Feeds { // a lead along the one that is there: 1 m, then 76 mm a pixel; cut to the next decimetre
			pixel, err := strconv.Atoi(f.At)
			if err != nil {
				pixel = 1
			}
			if want := math.Ceil(10*(1+0.076*float64(pixel-1))-1e-6) / 10; f.Metres != want || len(s.CheaperRefused) == 0 || len(s.Because) == 0 {
				t.Errorf("with a feed lost: %+v, want %g m", s, want)
			}
		}
	}

	code, _, talk = call(t, "plan", file, "--propose", "--write")
	if code != exitFine || !strings.Contains(talk, "is written; check it") {
		t.Errorf("writing: exit %d, %q", code, talk)
	}
	now, _ := os.ReadFile(file)
	for _, comment := range []string{"# winter lights", "# beside the door", "# anna hung it", "# metered", "# by the window"} {
		if !strings.Contains(string(now), comment) {
			t.Errorf("%s is gone:\n%s", comment, now)
		}
	}
	if info, _ := os.Stat(file); info.Mode().Perm() != 0o640 {
		t.Error("the file has other rights:", info.Mode())
	}
	p, problems := config.Load(file, strings.NewReader(string(now)))
	if len(problems) > 0 {
		t.Error(problems)
	}
	b := budget.New(p)
	for _, x := range append(b.Problems, protection.New(p, b).Problems...) {
		if strings.Contains(x.What, "gable") && !strings.HasPrefix(x.What, "port ") {
			t.Error("found in what was written: ", x)
		}
	}
	if code, text, _ := call(t, "plan", file, "--propose"); code != exitFine || !strings.HasPrefix(text, "Nothing has to change: every string has its volts, fuses and protection at full white.\n") {
		t.Errorf("again: exit %d\n%s", code, text)
	}
}

// Without time nothing is found, and it says so.
func TestProposeOutOfTime(t *testing.T) {
	file := sacntest.File(t, "harbour.yaml", harbour)
	code, text, talk := call(t, "plan", file, "--propose", "--seconds", "1e-9", "--write")
	if code != exitFound || talk != "yardproof plan: no feeds that hold were found for 1 string; gable: time ran out before anything was found that holds: give --seconds more, or feed_points\n" {
		t.Errorf("exit %d, %q", code, talk)
	}
	if !strings.HasPrefix(text, "Nothing that holds was found. Below is why.\n") || !strings.Contains(text, "gable: time ran out before anything was found that holds: give --seconds more, or feed_points\n") {
		t.Errorf("exit %d\n%s", code, text)
	}
	if now, _ := os.ReadFile(file); string(now) != harbour {
		t.Error("something was written")
	}
}

// TestProposePorts moves the fewest plugs: 1,000 pixels of 30 µs (WS2811: 24 bits of 1.25
// µs, its datasheet) take more than 25 ms, and the last plug alone has to move.
func TestProposePorts(t *testing.T) {
	file := sacntest.File(t, "harbour.yaml", harbour)
	code, text, _ := call(t, "plan", file, "--propose", "ports", "--write")
	for _, want := range []string{
		"1 plug to move; fewer would not do.", "1000 pixels take 30.", " in 25.0 ms",
		"quay    A3     the end of string rail  controller boathouse, port 2\n",
		"Labels to print\nlabel  string  controller  port", "A3     quay    boathouse   2",
		"Never plug or unplug live",
	} {
		if code != exitFine || !strings.Contains(text, want) {
			t.Errorf("exit %d, lacks %q:\n%s", code, want, text)
		}
	}
	if code, text, _ := call(t, "plan", file, "--propose", "ports"); code != exitFine || !strings.HasPrefix(text, "Nothing has to be moved") {
		t.Errorf("again: exit %d\n%s", code, text)
	}
	if now, _ := os.ReadFile(file); !strings.Contains(string(now), "# by the window") {
		t.Error("a comment is gone")
	}
	long := strings.NewReplacer("pixels: 500", "pixels: 5000", "universe: 5", "universe: 50").Replace(harbour) // 150 ms, whatever port takes it
	sacntest.Write(t, file, long)
	if code, _, talk := call(t, "plan", file, "--propose", "ports"); code != exitFound || !strings.HasPrefix(talk, "yardproof plan: no ports that fit were found; string rail has ") || strings.Count(talk, "\n") != 1 {
		t.Errorf("without an answer: exit %d, %q", code, talk)
	}
}
