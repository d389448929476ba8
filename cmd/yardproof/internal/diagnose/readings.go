package diagnose

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
	"yardproof/config/budget"
)

// assumedVolts is a voltmeter's error when it is not given, typical of the handheld
// ones that are used in a yard: common practice, no source.
var assumedVolts = config.Meter{Share: 0.005, Fixed: 0.030}

// reading is a current reading of one feed beside what was expected.
type reading struct {
	Read         float64
	Dark         *float64 // the reading before, in the dark, with the clamp unmoved
	Expected     float64  // at the same pattern and level
	ExpectedDark float64  // idle
	PerPixel     float64  // amperes that a lit pixel adds; 0: not known
	Planned      float64  // the plan's amps_per_pixel; 0: nothing is to be learnt for it
	Meter        config.Meter
	tolerance    *budget.Band // what Expected may be by the plan's tolerance; nil: not known
	others       []feedAmps   // of the string's other feeds, when it has any
	Feed         string       // for the words; may be empty
	Pixels       int          // that are lit; 0: not known
	Duty         float64      // part of the time that a dimmed pixel is on; 0: not known
}

// feedAmps is what another feed is expected to carry, white and in the dark, and what
// the feed that was read carries while this one is open; not a number: not known.
type feedAmps struct {
	at                  string
	white, dark         float64
	openWhite, openDark float64
}

// possible refuses what no ammeter shows.
func possible(amperes ...float64) error {
	for _, v := range amperes {
		if math.IsNaN(v) || math.Abs(v) > 10000 {
			return inputf("a current of %g A is not possible here", v)
		}
	}
	return nil
}

// Answer places a current beside its expectation.
func (r reading) Answer() (Answer, error) {
	if err := possible(r.Read, r.Expected, r.ExpectedDark, r.PerPixel); err != nil {
		return Answer{}, err
	}
	if r.Expected <= 0 {
		return Answer{}, inputf("there is no expected current to compare with")
	}
	read, expected := math.Abs(r.Read), r.Expected
	what := fmt.Sprintf("%.2f A read", read)
	if r.Dark != nil {
		read = math.Abs(r.Read - *r.Dark) // with their signs: a clamp that is off below nought, or hangs the other way round
		expected -= r.ExpectedDark
		what = fmt.Sprintf("White less dark (%.2f A): %.2f A read", *r.Dark, read)
	}
	give := r.Meter.Error(r.Read)
	off := expected - read
	a := Answer{Basis: Practice, Caution: Caution, Causes: []string{}, Next: []string{}}
	where := ""
	if r.Feed != "" {
		where = " at " + r.Feed
	}
	a.Finding = fmt.Sprintf("%s%s, %.2f A expected", what, where, expected)
	if math.Abs(off) <= give {
		a.Finding += fmt.Sprintf(": alike, within the meter's error of %.2f A.", give)
		return a, nil
	}
	a.Wrong = true
	worth := func() string {
		if r.PerPixel <= 0 {
			return fmt.Sprintf("%.2f A (give or take %.2f)", math.Abs(off), give)
		}
		n := math.Round(math.Abs(off) / r.PerPixel)
		return fmt.Sprintf("about %s (give or take %.0f)", textout.Count(int(n), "pixel"), math.Ceil(give/r.PerPixel-1e-9))
	}
	ratio := read / expected
	open := r.openFeeds(read, give)
	switch {
	case read <= max(give, 0.05*expected):
		a.Finding += ": this feed carries next to nothing."
		a.Causes = []string{"the fuse or the lead of this feed is open; then the other feeds carry its share, and their fuses are overloaded",
			"both conductors of the pair are in the clamp", "the clamp is set to AC: an AC-only clamp reads nothing of this"}
		a.Next = []string{"Put one positive conductor alone in the clamp. Set it to DC, and zero it while it is empty.", "Look at the fuse, with the power off.", "Read the other feeds. Which one carries the share?"}
	case off > 0:
		a.Finding += fmt.Sprintf(": too low by %s.", worth())
		a.Causes = lowCauses()
		if causes := r.elsewhere(ratio); len(causes) > 0 {
			a.Causes = append(causes, a.Causes...)
			a.Next = append(a.Next, "Read every feed of the string: another one that reads high carries this one's share.")
		}
		if math.Abs(ratio-1.0/3) < 0.06 || math.Abs(ratio-2.0/3) < 0.06 {
			a.Causes = append([]string{"one or two colours do not light (it reads about one or two thirds)"}, a.Causes...)
		}
		a.Next = append(a.Next, "Count with ends, look at the colours with one-slot.")
	default:
		a.Finding += fmt.Sprintf(": too high by %s.", worth())
		a.Causes = r.tooHigh(ratio, open)
		a.Next = []string{"Compare with the fuse before going on at this level.", "Read the other feeds of the string."}
	}
	if t := r.tolerance; t != nil && read >= t.Least-r.Expected+expected-give && read <= t.Most-r.Expected+expected+give {
		a.Causes = append(a.Causes, fmt.Sprintf("nothing at all: chips, wire and joints differ, and the plan's tolerance allows %.2f to %.2f A here; its sisters tell", t.Least, t.Most))
	}
	if r.Dark == nil {
		a.Next = append(a.Next, "Read twice, dark and then white, and do not move the clamp. The difference is free of the clamp's zero error, of idle current and of neighbours.")
	}
	if r.Planned > 0 && len(open) == 0 && ratio > 0.6 && ratio < 1.67 {
		a.Next = append(a.Next, fmt.Sprintf("If every pixel is lit in its three colours and its sisters read the same, the batch draws %.4f A a pixel: write that as amps_per_pixel in the plan.", r.Planned*ratio))
	}
	return a, nil
}

// lowCauses are those of any reading that is too low.
func lowCauses() []string {
	return []string{"dark pixels, or pixels with a dead colour", "the string has fewer pixels than the plan says", "the amps of a pixel in the plan are too high: datasheets are often 20 to 40 % off", "the port is dimmed, or its gamma is not 1"}
}

// highCauses are those of any reading that is too high.
func highCauses() []string {
	return []string{"the amps of a pixel in the plan are too low", "the clamp also holds a neighbour's conductor"}
}

const openElsewhere = "another feed of this string is open, and this one carries its share"

// openFeeds names the other feeds that may be open: with one of them gone, this feed
// would carry what was read.
func (r reading) openFeeds(read, give float64) []string {
	var causes []string
	for _, o := range r.others {
		expected := o.openWhite
		if r.Dark != nil {
			expected -= o.openDark
		}
		if math.Abs(read-expected) <= give {
			causes = append(causes, fmt.Sprintf("the feed at %s is open (its fuse or its lead): then this one carries %.2f A", o.at, expected))
		}
	}
	return causes
}

// tooHigh gives the causes of a reading that is too high.
func (r reading) tooHigh(ratio float64, open []string) []string {
	causes := slices.Clone(open)
	if math.Abs(ratio-2) < 0.15 {
		causes = append(causes, "twice the pixels are lit: copies on the port, or two strings on this feed")
	}
	causes = append(causes, highCauses()...)
	if len(open) == 0 {
		causes = append(causes, openElsewhere)
	}
	if r.Pixels > 0 && r.Duty > 0 && r.Duty < 1 && ratio <= 1.05*rmsOverMean(1, r.Duty) {
		causes = append(causes, fmt.Sprintf("a true-RMS AC+DC meter reads dimmed pixels too high: some %.4g times for %s, and up to %.4g times only if all of them pulse together; set it to DC, or light fewer pixels at 100 %%",
			rmsOverMean(r.Pixels, r.Duty), textout.Count(r.Pixels, "pixel that pulses for itself", "pixels that each pulse for themselves"), rmsOverMean(1, r.Duty)))
	}
	return causes
}

// rmsOverMean is how much higher a true-RMS meter reads than the mean of the current of
// n pixels that are each on for a part of the time and know nothing of each other: the
// variance of a sum of independent loads is the sum of theirs. One pixel stands for any
// number that pulse together.
func rmsOverMean(n int, duty float64) float64 {
	return math.Sqrt(1 + (1-duty)/(float64(n)*duty))
}

// elsewhere gives the causes of a feed that is too low while its string has others:
// some of its current comes in there, or another feed was read.
func (r reading) elsewhere(ratio float64) []string {
	var causes []string
	if len(r.others) > 0 && ratio < 0.75 {
		causes = append(causes, "a bad contact at this feed, in its fuse holder or its lead; the other feeds then carry its share")
	}
	read := math.Abs(r.Read)
	for _, o := range r.others {
		expected := o.white
		if r.Dark != nil {
			read, expected = math.Abs(r.Read-*r.Dark), o.white-o.dark
		}
		if math.Abs(read-expected) <= r.Meter.Error(r.Read) {
			causes = append(causes, fmt.Sprintf("the feed at %s was read instead: %.2f A are expected there", o.at, expected))
		}
	}
	return causes
}

// voltsAnswer places voltages that were read along a string while it was lit as expected
// for e, which is worked out from the volts measured at the supply if those are
// among the points. Nominal is the supply's in the plan, 0 when not known.
func voltsAnswer(e budget.Expectation, points []budget.Point, nominal float64, m config.Meter) (Answer, error) {
	if len(points) == 0 {
		return Answer{}, inputf("there is no voltage to compare")
	}
	points = slices.Clone(points)
	slices.SortFunc(points, func(a, b budget.Point) int { return cmp.Compare(a.Pixel, b.Pixel) })
	for i, p := range points {
		switch {
		case math.IsNaN(p.Volts) || p.Volts < 0 || p.Volts > 1000:
			return Answer{}, inputf("%g V at %s is not possible here", p.Volts, place(p.Pixel))
		case p.Pixel < 0 || p.Pixel > len(e.Volts):
			return Answer{}, inputf("there is no pixel %d: the string's are 1 to %d", p.Pixel, len(e.Volts))
		case i > 0 && p.Pixel == points[i-1].Pixel:
			return Answer{}, inputf("%s was given twice", place(p.Pixel))
		}
	}
	a := Answer{Basis: Practice + "; the expected volts are the ladder's, from the plan", Caution: Caution, Causes: []string{}, Next: []string{}}
	first := points[0]
	if first.Pixel == 0 && nominal > 0 && math.Abs(first.Volts-nominal) > 0.1*nominal {
		a.Wrong = true
		a.Finding = fmt.Sprintf("The supply gives %.2f V, the plan says %.2f.", first.Volts, nominal)
		a.Causes = []string{"its trimmer is set to another voltage", "it is overloaded, or hot", "it is another supply"}
		a.Next = []string{"Set it, change nothing else, and read again."}
		return a, nil
	}
	if first.Pixel > 0 { // the supply was not read: it is taken to give what the plan says
		points = append([]budget.Point{{Pixel: 0, Volts: e.Supply}}, points...)
	}
	within := 2 * m.Error(points[len(points)-1].Volts)
	found := e.Locate(points, within)
	lost := slices.DeleteFunc(slices.Clone(found), func(r budget.Residual) bool { return r.Volts < 0 })
	switch {
	case len(found) == 0:
		a.Finding = fmt.Sprintf("The volts are as expected, within the meter's %.2f V, from a supply of %.2f V.", within, e.Supply)
		return a, nil
	case len(lost) == 0: // the wire is as it was: what is missing is current
		gained := found[0]
		a.Wrong = true
		a.Finding = fmt.Sprintf("%.2f V less than expected are lost between %s and %s: the pixels draw less than the plan says.", -gained.Volts, place(gained.From), place(gained.To))
		a.Causes = []string{"the string was not at that level, or not all of it was lit", "dark pixels beyond, or pixels with a dead colour", "the amps of a pixel in the plan are too high: datasheets are often 20 to 40 % off", "thicker or shorter wire than the plan has, or a feed that it does not name"}
		a.Next = []string{"Read again while it is white, and count with ends.", "Read amps at every feed."}
		if first.Pixel > 0 {
			a.Causes = append([]string{"the supply is set higher than the plan says"}, a.Causes...)
			a.Next = append([]string{"Read the volts at the supply too, while it is lit the same."}, a.Next...)
		}
		return a, nil
	}
	a.Wrong = true
	r := lost[0]
	from, to := place(r.From), place(r.To)
	a.Finding = fmt.Sprintf("%.2f V more than expected are lost between %s and %s.", r.Volts, from, to)
	switch {
	case r.From == 0:
		a.Causes = []string{"the lead, its fuse holder or a joint ahead of " + to, "a feed that is open, so that others carry its share"}
		a.Next = []string{"Measure millivolts across the fuse and each joint, on each conductor, while lit.", "Read amps at every feed: one may read nothing."}
		if first.Pixel > 0 {
			a.Causes = append([]string{"the supply is set low or overloaded"}, a.Causes...)
			a.Next = append([]string{"Read the volts at the supply too, while it is lit the same."}, a.Next...)
		}
	case r.Next == 0:
		a.Causes = []string{"the joint between the two pixels"}
		a.Next = []string{"Measure millivolts across the joint, on each conductor, while lit.", "Isolate, then make a new joint."}
	default:
		a.Causes = []string{"one joint between them, if the loss is at one place", "thinner or clad wire, if it grows evenly", "a feed between them that is open"}
		a.Next = []string{fmt.Sprintf("Read the volts at pixel %d, halfway: the fault is in the half where volts are lost.", r.Next)}
	}
	if e.Allows(points, within) {
		a.Causes = append(a.Causes, "nothing at all: joints, wire and chips within the plan's tolerance may do this; its sisters tell")
	}
	for _, r := range lost[1:] {
		a.Next = append(a.Next, fmt.Sprintf("Then the same between %s and %s: %.2f V.", place(r.From), place(r.To), r.Volts))
	}
	return a, nil
}

func place(pixel int) string {
	if pixel == 0 {
		return "the supply"
	}
	return fmt.Sprintf("pixel %d", pixel)
}
