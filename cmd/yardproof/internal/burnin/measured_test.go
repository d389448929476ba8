package burnin

import (
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"yardproof/cmd/yardproof/internal/record"
)

func hungWhite(name, label string) record.Line {
	return record.Line{Kind: record.Proof, String: name, Label: label, Stage: record.Hung, Verdict: record.Good,
		Readings: []record.Reading{{Quantity: "amps", Value: 0.1, While: "dark"}, {Quantity: "amps", Value: 2.7, While: "white"}}}
}

func standings(lines []record.Line) []record.Standing {
	var x record.Index
	for i := range lines {
		x.Add(&lines[i])
	}
	return x.Standings()
}

func TestUnmeasured(t *testing.T) {
	plan, _ := load(t, street+"  hours: 1\n")
	left, right := hungWhite("gable-left", "C1"), hungWhite("gable-right", "C2")
	bench, volts, fault, other, off := left, left, left, left, hungWhite("gable-left", "C1")
	off.Readings[1].Least, off.Readings[1].Most = new(2.8), new(3.4)
	bench.Stage = record.Bench
	volts.Readings = []record.Reading{{Quantity: "volts", Value: 12, While: "white"}}
	fault.Verdict = record.Fault
	other.Label = "X9"
	for _, tt := range []struct {
		lines []record.Line
		want  string
	}{
		{nil, "gable-left gable-right roof"},
		{[]record.Line{left, right}, "roof"},
		{[]record.Line{bench, right}, "gable-left roof"},
		{[]record.Line{volts, right}, "gable-left roof"},
		{[]record.Line{off, right}, "gable-left roof"},
		{[]record.Line{left, fault, right}, "gable-left roof"},
		{[]record.Line{left, right, {Kind: record.Replaced, String: "gable-left"}}, "gable-left roof"},
		{[]record.Line{other, right}, "gable-left roof"},
	} {
		if got := strings.Join(unmeasured(plan, []string{"gable-left", "gable-right", "roof"}, standings(tt.lines)), " "); got != tt.want {
			t.Errorf("%+v: %q, want %q", tt.lines, got, tt.want)
		}
	}
}

// White for hours stays at 30 % until every string of it was measured where it hangs; a
// walk does not. What is read meanwhile counts from the next step on.
func TestWhiteIsLimitedUntilMeasured(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		const text = `
supplies: [{name: a, volts: 12, watts: 350}]
strings:
  - {name: gable-left, universe: 1, pixels: 50, supply: a, fuse_amps: 5, pitch: {awg: 18, millimetres: 50}}
  - {name: roof, universe: 2, pixels: 50, supply: a, fuse_amps: 5, pitch: {awg: 18, millimetres: 50}}
burn_in:
  hours: 2
  programme: [{pattern: full-white, level: 80%, minutes: 2}, {pattern: ramp, minutes: 2}, {pattern: walk, level: 70%, minutes: 2}]
`
		y := newYard(t, text)
		var mu sync.Mutex
		var lines []record.Line
		y.start(func(c *Config) {
			c.Standings = func() []record.Standing {
				mu.Lock()
				defer mu.Unlock()
				return standings(lines)
			}
		})
		level := func() (string, float64) {
			s := y.session.Snapshot().Shown
			return s.Pattern.Name, s.Level
		}
		for _, want := range []struct {
			pattern string
			level   float64
		}{{"full-white", 0.3}, {"ramp", 0.3}, {"walk", 0.7}, {"full-white", 0.8}, {"ramp", 1}, {"walk", 0.7}} {
			time.Sleep(time.Minute)
			if pattern, level := level(); pattern != want.pattern || level != want.level {
				t.Errorf("%s at %g, want %s at %g", pattern, level, want.pattern, want.level)
			}
			limited := strings.Contains(y.b.Report().Says(), "white at 30 % at most: 2 strings not measured under white where hung: gable-left, roof")
			if limited != (len(lines) == 0) {
				t.Errorf("with %d lines it says %q", len(lines), y.b.Report().Says())
			}
			if by := y.session.Snapshot().Shown.CappedBy; (by != "") != (want.level == 0.3) {
				t.Errorf("%s at %g: limited by %q", want.pattern, want.level, by)
			}
			if want.pattern == "walk" { // somebody reads the amps meanwhile
				mu.Lock()
				lines = append(lines, hungWhite("gable-left", ""), hungWhite("roof", ""))
				mu.Unlock()
			}
			time.Sleep(time.Minute)
		}
		y.stop()
		<-y.over
	})
}
