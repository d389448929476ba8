package scan_test

import (
	"bufio"
	"bytes"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os/exec"
	"strconv"
	"strings"
	"testing"

	"yardproof/cmd/yardproof/internal/diagnose/scan"
	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/sacn/sacntest"
)

// A string of the yard, as ngspice has it: it differs from its plan in what a plan
// cannot know.
type truth struct {
	pixels        int
	amps          []float64 // of each pixel, white
	idle          float64
	joint         int     // ahead of this pixel, 1: in the lead
	ohms          float64 // of it
	returns       bool    // it is in the return
	pitch         []float64
	lead, second  float64 // ohms of each conductor; second 0: one feed
	volts, inside float64 // of the supply, and its ohms
	law           string  // of a pixel: "", resistor
}

const planText = `
supplies: [{name: a, volts: 12, watts: 600}]
strings:
  - {name: rail, universe: 1, pixels: 100, amps_per_pixel: 0.06, idle_amps_per_pixel: 0.001, load: current,
     pitch: {awg: 18, millimetres: 100}, feeds: [{at: start, supply: a, fuse_amps: 7, awg: 16, metres: 2}%s]}
`

func plan(t *testing.T, twoFeeds bool) (*config.Plan, *budget.Budget) {
	t.Helper()
	second := ""
	if twoFeeds {
		second = ", {at: end, supply: a, fuse_amps: 7, awg: 16, metres: 4}"
	}
	p, problems := config.Load("quay.yaml", strings.NewReader(fmt.Sprintf(planText, second)))
	if p == nil || len(problems) > 0 {
		t.Fatal(problems)
	}
	return p, budget.New(p)
}

// randomTruth is such a string: pixels that draw up to 20 % more or less than the plan
// says and differ by 5 %, wire 5 % off and some milliohms from joint to joint, a lead
// with up to 40 milliohms in its fuse and plugs.
func randomTruth(r *rand.Rand, ohms float64, twoFeeds bool) *truth {
	around := func(share float64) float64 { return 1 + share*(2*r.Float64()-1) }
	y := &truth{pixels: 100, joint: 2 + r.IntN(99), ohms: ohms, returns: r.IntN(2) == 0 && !twoFeeds, volts: 12 * around(0.03), inside: 0.005}
	amps, wire := 0.06*around(0.2), 0.0020948*around(0.05) // 18 AWG at 20 °C: 20.948 mohm/m (NBS Handbook 100)
	y.idle = 0.001 * around(0.3)
	for range y.pixels {
		y.amps = append(y.amps, amps*around(0.05))
		y.pitch = append(y.pitch, wire+0.001*r.Float64())
	}
	y.lead = 2*0.013174 + 0.02*r.Float64() // 16 AWG: 13.174 mohm/m
	if twoFeeds {
		y.second = 4*0.013174 + 0.02*r.Float64()
	}
	return y
}

// reads lets ngspice work out what the meter's probes are at while a block is lit.
func (y *truth) reads(t *testing.T, b scan.Block) float64 {
	var w strings.Builder
	fmt.Fprintf(&w, "* block %d to %d\nVS sup 0 DC %.9g\nRS sup s %.9g\nVM s m DC 0\nRL m p0 %.9g\nRN 0 n0 %.9g\n", b.First, b.Last, y.volts, y.inside, y.lead, y.lead)
	for k := 1; k <= y.pixels; k++ {
		plus, minus := y.pitch[k-1], y.pitch[k-1]
		if k == y.joint && y.returns {
			minus += y.ohms
		} else if k == y.joint {
			plus += y.ohms
		}
		fmt.Fprintf(&w, "RP%d p%d p%d %.9g\nRR%d n%d n%d %.9g\n", k, k-1, k, plus, k, k-1, k, minus)
		lit := k >= b.First && k <= b.Last
		switch {
		case lit && y.law == "resistor":
			fmt.Fprintf(&w, "RX%d p%d n%d %.9g\n", k, k, k, 12/y.amps[k-1])
		case lit:
			fmt.Fprintf(&w, "IX%d p%d n%d DC %.9g\n", k, k, k, y.amps[k-1])
		default:
			fmt.Fprintf(&w, "IX%d p%d n%d DC %.9g\n", k, k, k, y.idle)
		}
	}
	if y.second > 0 {
		fmt.Fprintf(&w, "R2 s p%d %.9g\nR3 0 n%d %.9g\n", y.pixels, y.second, y.pixels, y.second)
	}
	fmt.Fprintf(&w, ".control\nop\nset numdgt=9\nprint v(p%d) v(n%d) i(vm)\nquit\n.endc\n.end\n", y.pixels, y.pixels)
	got := spice(t, w.String())
	if y.second > 0 {
		return got["i(vm)"]
	}
	return got[fmt.Sprintf("v(p%d)", y.pixels)] - got[fmt.Sprintf("v(n%d)", y.pixels)]
}

// shows is the same by Ohm's and Kirchhoff's laws, for pixels of constant current.
// TestYardAgainstSpice holds it against ngspice.
func (y *truth) shows(b scan.Block) float64 {
	conductors := 2.0
	if y.second > 0 { // V+ has the clamp, and knows nothing of the return
		conductors = 1
	}
	ohms, sum, whole := conductors*y.lead, 0.0, 0.0
	var at []float64
	for k := 1; k <= y.pixels; k++ {
		ohms += conductors * y.pitch[k-1]
		if k == y.joint {
			ohms += y.ohms
		}
		at = append(at, ohms)
	}
	ohms += y.second
	for k, r := range at {
		amps := y.idle
		if k+1 >= b.First && k+1 <= b.Last {
			amps = y.amps[k]
		}
		if whole += amps; y.second > 0 {
			sum += amps * (ohms - r) / ohms
		} else {
			sum += amps * r
		}
	}
	if y.second > 0 {
		return sum
	}
	return y.volts - sum - whole*y.inside
}

func spice(t *testing.T, netlist string) map[string]float64 {
	t.Helper()
	cmd := exec.Command("ngspice", "-b", "-n", "/dev/stdin")
	cmd.Stdin = strings.NewReader(netlist)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	values := map[string]float64{}
	for lines := bufio.NewScanner(bytes.NewReader(out)); lines.Scan(); {
		name, value, found := strings.Cut(lines.Text(), " = ")
		if v, e := strconv.ParseFloat(strings.TrimSpace(value), 64); found && e == nil {
			values[strings.TrimSpace(name)] = v
		}
	}
	if len(values) == 0 {
		t.Fatalf("ngspice: %v\n%s\n%s", err, out, stderr.Bytes())
	}
	return values
}

// meter is off by a gain and at nought, the same for all of its readings, and shows
// whole steps.
type meter struct{ gain, zero, step float64 }

func randomMeter(r *rand.Rand, gain, zero, step float64) meter {
	return meter{1 + gain*(2*r.Float64()-1), zero * (2*r.Float64() - 1), step}
}

func (m meter) shows(v float64) float64 { return math.Round((v*m.gain+m.zero)/m.step) * m.step }

// walk scans a string as the program asks for it, and returns what it says at the end.
func walk(t *testing.T, l *scan.Line, read func(scan.Block) float64) scan.Verdict {
	t.Helper()
	var readings []scan.Reading
	for {
		v, err := l.Judge(readings)
		if err != nil {
			t.Fatal(err)
		}
		if v.Done {
			return v
		}
		readings = append(readings, scan.Reading{Block: v.Next, Value: read(v.Next)})
	}
}

// The yard that the scans are tried on is what ngspice says it is.
func TestYardAgainstSpice(t *testing.T) {
	sacntest.NeedTool(t, "ngspice")
	for seed := range uint64(6) {
		r := rand.New(rand.NewPCG(seed, 1))
		y := randomTruth(r, 0.02+0.5*r.Float64(), seed%2 == 1)
		first := 1 + r.IntN(70)
		b := scan.Block{First: first, Last: first + r.IntN(30)}
		if got, want := y.shows(b), y.reads(t, b); !(math.Abs(got-want) < 1e-5) {
			t.Errorf("seed %d, pixels %d to %d: %.6f, ngspice has %.6f", seed, b.First, b.Last, got, want)
		}
	}
}

var joints = flag.Int("joints", 0, "judge so many strings for each size of joint, and print the curve")

// Within ten pixels of a hundred at 50 milliohm in 95 of a hundred: the reach that is
// claimed, judged on 400 strings by make judge. The short run has the same few strings
// each time, and all but one of them are found. TestYardAgainstSpice vouches for the
// readings.
func TestJointFound(t *testing.T) {
	runs, least, sizes := 12, 11, []int{50}
	if *joints > 0 {
		runs, sizes = *joints, []int{0, 20, 30, 50, 70, 100, 200, 500}
		least = int(math.Ceil(0.95 * float64(runs)))
	}
	for _, twoFeeds := range []bool{false, true} {
		for _, m := range sizes {
			if near := judgeJoints(t, twoFeeds, runs, m); m >= 50 && near < least {
				t.Errorf("%d of %d joints of %d milliohm were found within 10 pixels, want %d", near, runs, m, least)
			}
		}
	}
}

func judgeJoints(t *testing.T, twoFeeds bool, runs, milliohms int) (near int) {
	t.Helper()
	p, b := plan(t, twoFeeds)
	said, exact, readings := 0, 0, 0
	for seed := range uint64(runs) {
		r := rand.New(rand.NewPCG(10_000+seed, uint64(milliohms))) // others than the thresholds were set by
		y := randomTruth(r, float64(milliohms)/1000, twoFeeds)
		m := randomMeter(r, 0.03, 0.05, 0.01) // 3 %, and 50 mV or 50 mA at nought; steps of 10
		l, err := scan.NewLine(p, b, p.Strings[0], 50)
		if err != nil {
			t.Fatal(err)
		}
		v := walk(t, l, func(b scan.Block) float64 { return m.shows(y.shows(b)) })
		if readings += v.Readings; v.LeadStands && !v.Found {
			said++
			if y.joint <= 10 {
				near++
			}
		} else if v.Found {
			said++
			off := math.Abs(float64(v.After - y.joint))
			if off <= 10 {
				near++
			}
			if off <= 2 {
				exact++
			}
		}
	}
	t.Logf("%t, %3d milliohm: %d of %d say a joint, %d within 10 pixels, %d within 2, %.1f readings", twoFeeds, milliohms, said, runs, near, exact, float64(readings)/float64(runs))
	return near
}
