// Package bench is a batch of strings that go over the bench one by one: what each
// drew, the median as it grows, which stand apart, and the tag of the next. It refuses
// to know about light, pages and files.
package bench

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
)

// enough is how many good strings a batch needs before one of them can be said to
// stand apart: the spread of fewer says little (common practice, no source).
const enough = 5

// apart is the modified z-score past which a value may be an outlier: 0.6745 times the
// distance from the median over the median distance (NIST/SEMATECH e-Handbook of
// Statistical Methods, 1.3.5.17, after Iglewicz and Hoaglin; from memory).
const apart = 3.5 / 0.6745

// Batch is the strings of one make that were on the bench.
type Batch struct {
	Name    string   `json:"name"`
	Next    string   `json:"next_tag"` // "": nobody has given a first one
	Strings []String `json:"strings"`  // the oldest first
	Good    int      `json:"good"`
	Fault   int      `json:"fault"`
	Read    int      `json:"read"`   // good ones with a current: those that the median is of
	Median  float64  `json:"median"` // amperes; 0: none was read
	Low     float64  `json:"low"`    // the least and most that do not stand apart;
	High    float64  `json:"high"`   // both 0: too few were read to say
	Says    string   `json:"says"`
}

// String is one that was on the bench, by its latest proof there.
type String struct {
	Tag     string         `json:"tag"`
	Time    time.Time      `json:"time"`
	Verdict record.Verdict `json:"verdict"`
	Amps    float64        `json:"amps"` // at white; 0: not read
	Seen    string         `json:"seen"`
	Apart   bool           `json:"stands_apart"`
}

// Plan is the plan of a bench's port: its name is the batch's, or made of what is known.
func Plan(one config.One, batch string) (*config.Plan, []config.Problem) {
	plan, problems := config.OneString(one)
	s := plan.Strings[0]
	if plan.Name = batch; batch == "" {
		plan.Name = fmt.Sprintf("bench: %d pixels, %s", s.Pixels, s.Chip.Name)
		if s.Volts > 0 {
			plan.Name += fmt.Sprintf(", %g V", s.Volts)
		}
	}
	return plan, problems
}

// New gathers the batch of a name from the lines of the bench, the oldest first.
// Between strings that one meter read in one place its share of the reading cancels;
// its fixed error, the zero that wanders, does not.
func New(name, firstTag string, lines []record.Line, meter config.Meter) Batch {
	b := Batch{Name: name, Next: firstTag, Strings: []String{}}
	var good []float64
	given := map[string]bool{} // tags that strings have, of whatever batch
	for _, l := range lines {
		given[strings.ToUpper(l.Label)] = true
		if l.Plan != name {
			continue
		}
		s := String{Tag: l.Label, Time: l.Time, Verdict: l.Verdict, Amps: white(l), Seen: l.Seen}
		b.Strings = append(b.Strings, s)
		b.Next = after(l.Label)
		if l.Verdict != record.Good {
			b.Fault++
			continue
		}
		b.Good++
		if s.Amps > 0 {
			good = append(good, s.Amps)
		}
	}
	for given[strings.ToUpper(b.Next)] { // a string was on the bench once more
		b.Next = after(b.Next)
	}
	b.Read = len(good)
	switch {
	case b.Read == 0:
		b.Says = "No good string has been read yet."
		return b
	case b.Read < enough:
		b.Median = median(good)
		b.Says = fmt.Sprintf("Median %.2f A of %s. %d are needed to say which stands apart.", b.Median, textout.Count(b.Read, "good string"), enough)
		return b
	}
	b.Median = median(good)
	far := make([]float64, len(good))
	for i, amps := range good {
		far[i] = math.Abs(amps - b.Median)
	}
	width := max(apart*median(far), meter.Fixed)
	b.Low, b.High = max(0, b.Median-width), b.Median+width
	n := 0
	for i, s := range b.Strings {
		if s.Amps > 0 && math.Abs(s.Amps-b.Median) > width+1e-9 {
			b.Strings[i].Apart = true
			n++
		}
	}
	b.Says = fmt.Sprintf("Median %.2f A of %d good strings. Usual: %.2f to %.2f A.", b.Median, b.Read, b.Low, b.High)
	if n > 0 {
		b.Says += fmt.Sprintf(" %s apart: count and look again.", textout.Count(n, "stands", "stand"))
	}
	return b
}

// white returns the current that was read at white; 0: none was.
func white(l record.Line) float64 {
	for _, r := range l.Readings {
		if r.Amps(record.WhileWhite) {
			return math.Abs(r.Value)
		}
	}
	return 0
}

func median(values []float64) float64 {
	v := slices.Sorted(slices.Values(values))
	n := len(v)
	return (v[(n-1)/2] + v[n/2]) / 2
}

// after returns the tag that follows: the number at its end is one more, as wide as
// it was. A tag without a number gets a 2.
func after(tag string) string {
	stem := strings.TrimRight(tag, "0123456789")
	digits := tag[len(stem):]
	n, err := strconv.ParseUint(digits, 10, 32)
	if err != nil {
		return tag + "2"
	}
	return fmt.Sprintf("%s%0*d", stem, len(digits), n+1)
}
