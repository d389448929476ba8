package diagnose

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"yardproof/cmd/yardproof/internal/diagnose/belief"
	"yardproof/cmd/yardproof/internal/record"
	"yardproof/config"
)

// Weighed is what all looks at a string say together, with the look that comes next as
// it is to be written, its answer left out.
type Weighed struct {
	belief.Verdict
	Ask   string   `json:"ask,omitempty"`   // "amps@end="
	Signs []string `json:"signs,omitempty"` // what may be seen, as it is to be written; none: a meter is read
	Says  []string `json:"says,omitempty"`  // the same in words
	Mends []string `json:"mends"`           // by cause: the look to add once it was put right; "": it cannot be
}

// weigh answers what the looks so far mean, and what to look at next.
func (y Yard) weigh(q Question, s *config.String) (*Weighed, Answer, error) {
	if s == nil {
		return nil, Answer{}, inputf("looks are weighed for one string of a plan: name it")
	}
	volt, err := q.meter(assumedVolts, "V")
	if err != nil {
		return nil, Answer{}, err
	}
	lit, err := q.lit()
	if err != nil {
		return nil, Answer{}, err
	}
	var looks []belief.Look
	for _, text := range q.Looks {
		l, err := y.look(text, s)
		if err != nil {
			return nil, Answer{}, err
		}
		looks = append(looks, l)
	}
	subject := belief.Subject{Plan: y.Plan, Budget: y.Budget, String: s, Lit: lit, Volt: volt, Known: map[belief.Kind]int{}}
	for what, times := range y.Mends {
		subject.Known[cause(what)] += times
	}
	v, err := subject.Weigh(looks)
	if err != nil {
		return nil, Answer{}, &InputError{err.Error()}
	}
	w := &Weighed{Verdict: v}
	if v.Next != nil {
		w.Ask = askOf(*v.Next, s)
		for _, sign := range belief.Signs(v.Next.Test) {
			w.Signs = append(w.Signs, written(sign))
			w.Says = append(w.Says, v.Next.Test.Says(sign))
		}
	}
	w.Mends = []string{}
	for _, c := range v.Causes {
		w.Mends = append(w.Mends, mended(c, s))
	}
	fresh := len(looks)
	for k, l := range looks {
		if l.Test == belief.Mended {
			fresh = len(looks) - 1 - k
		}
	}
	return w, w.answer(s, fresh, len(looks)), nil
}

// mended is how somebody writes that a cause was put right.
func mended(c belief.Cause, s *config.String) string {
	text := record.MendedWord + written(c.Kind)
	switch {
	case c.Kind == belief.Well || c.Kind == belief.Unknown:
		return ""
	case c.Feed > 0:
		text += "@" + s.Feeds[c.Feed-1].At
	case c.Place > 0:
		text += fmt.Sprintf("@%d", c.Place)
	}
	return text
}

// wasMended reads it.
func wasMended(l belief.Look, answer string, s *config.String) (belief.Look, error) {
	kind, at, placed := strings.Cut(strings.TrimSpace(answer), "@")
	l.Cause = cause(kind)
	if !placed {
		return l, nil
	}
	if l.Feed = slices.IndexFunc(s.Feeds, func(f *config.Feed) bool { return f.At == at }); l.Feed >= 0 && l.Cause.OfFeed() {
		return l, nil
	}
	pixel, err := strconv.Atoi(at)
	if err != nil {
		return l, inputf("%.20q is no pixel and no feed of %s: write what was put right as in mended=broken-data@41", at, s.Name)
	}
	l.Feed, l.Pixel = 0, pixel
	return l, nil
}

// written is a sign or a cause as somebody types it, and cause reads one.
func written[T ~string](s T) string { return strings.ReplaceAll(string(s), " ", "-") }

func cause(text string) belief.Kind { return belief.Kind(strings.ReplaceAll(text, "-", " ")) }

// answer puts it in words; looks are those since something was put right, of all.
func (w *Weighed) answer(s *config.String, looks, all int) Answer {
	a := Answer{Basis: Practice + "; how often it is right is in the developers' notes"}
	switch {
	case all == 0:
		a.Finding = "Nothing has been looked at yet."
	case looks == 0:
		a.Finding = "Nothing has been looked at since that was put right."
	case w.Well:
		a.Finding = fmt.Sprintf("Nothing is wrong with %s, as far as these looks can tell.", s.Name)
	case w.Quiet && w.Next != nil:
		a.Finding = fmt.Sprintf("Nothing wrong has been found on %s so far.", s.Name)
	case w.Sure:
		a.Finding, a.Wrong = fmt.Sprintf("On %s: %s.", s.Name, w.Causes[0].Text), true
	case w.Next == nil && (len(w.Causes) == 0 || w.Causes[0].Kind == belief.Unknown):
		a.Finding, a.Wrong = fmt.Sprintf("What is wrong with %s is not known: these looks fit none of the usual causes.", s.Name), true
	default:
		a.Finding, a.Wrong = fmt.Sprintf("What is wrong with %s is not known for sure.", s.Name), true
	}
	for _, c := range w.Causes[:min(5, len(w.Causes))] {
		if looks == 0 || w.Well || w.Quiet && w.Next != nil {
			break
		}
		text := fmt.Sprintf("%s: %s", percent(c.Share), c.Text)
		if c.Because != "" {
			text += " (" + c.Because + ")"
		}
		a.Causes = append(a.Causes, text)
	}
	if w.Next != nil {
		a.Next = append(a.Next, inWords(*w.Next, s))
	} else if len(w.Work) > 0 && !w.Well {
		a.Next = append(a.Next, fmt.Sprintf("No look is worth more than trying. Begin with this: %s.", w.Causes[w.Work[0]].Text),
			"Then look again: there may be something else besides.")
	}
	if a.Wrong {
		a.Caution = Caution
	}
	return a
}

func percent(share float64) string {
	switch {
	case share >= 0.99:
		return "99 % or more"
	case share < 0.01:
		return "under 1 %"
	}
	return fmt.Sprintf("%.0f %%", 100*share)
}

// askOf is the look as it is written, but for its answer.
func askOf(l belief.Look, s *config.String) string {
	text := string(l.Test)
	switch l.Test {
	case belief.Amps:
		if l.Return {
			text = "return"
		}
		text += "@" + s.Feeds[l.Feed].At
	case belief.Volts:
		if text += "@supply"; l.Pixel > 0 {
			text = fmt.Sprintf("volts@%d", l.Pixel)
		}
	}
	if l.First > 0 {
		text += fmt.Sprintf("@%d-%d", l.First, l.Last)
	}
	return text + "="
}

// minutes is what is lit for minutes: full white ends by itself.
const minutes = "one-slot, slot 1, on every string, "

// inWords tells somebody what to look at.
func inWords(l belief.Look, s *config.String) string {
	lit := "all of the string white, as bright as the plan allows"
	if l.First > 0 {
		lit = fmt.Sprintf("pixels %d to %d white", l.First, l.Last)
	}
	switch l.Test {
	case belief.White:
		return "Show white on every string, at a third of full. What does this string do, and which others do the same?"
	case belief.Dark:
		return "Show dark. Does anything stay lit, or sparkle?"
	case belief.Alone:
		return "Light this string alone. Does this one answer?"
	case belief.Slots:
		return "Show one-slot on this string, slot after slot. Are the colours those of the plan?"
	case belief.Ends:
		return "Show ends. Is the first pixel green, the last red, with three whites beside each?"
	case belief.Bright:
		return "Show white, as bright as the plan allows. What does the string do?"
	case belief.Low:
		return "Show white at 5 %. What does the string do?"
	case belief.Later:
		return "Leave " + minutes + "as bright as the plan allows, for ten minutes. Then show white, at a third of full. What does the string do?"
	case belief.Watch:
		return "Show " + minutes + "at 60 %, for three minutes, and film this string. Where does it ever sparkle first? Begin at the data end: the last good pixel is the one before it."
	case belief.Heard:
		return "Run yardproof listen, or look at the page: does another source send?"
	case belief.More:
		return "Compare white as bright as the plan allows with white at 5 %. Does it sparkle more when it is bright?"
	case belief.Amps:
		lead := "V+"
		if l.Return {
			lead = "the return"
		}
		return fmt.Sprintf("Put the clamp round %s of the feed at %s. Read it in the dark, then with %s.", lead, s.Feeds[l.Feed].At, lit)
	}
	if l.Pixel == 0 {
		return "Read the volts at the supply, with " + lit + "."
	}
	return fmt.Sprintf("Read the volts at pixel %d, with %s.", l.Pixel, lit)
}

// look reads one look: TEST=SIGN, TEST=SIGN@PIXEL, "white=SIGN with STRING,STRING",
// amps@FEED=DARK/WHITE or volts@PIXEL=VOLTS, the last two with @FIRST-LAST for a block.
func (y Yard) look(text string, s *config.String) (belief.Look, error) {
	what, answer, ok := strings.Cut(strings.TrimSpace(text), "=")
	parts := strings.Split(strings.TrimSpace(what), "@")
	l := belief.Look{Test: belief.Test(parts[0])}
	fail := func() (belief.Look, error) {
		return l, inputf("the look %.60q is not understood: write it as in white=dark-tail@41, amps@start=0.05/1.56 or volts@supply=12.1", text)
	}
	if !ok || answer == "" {
		return fail()
	}
	if l.Test == "return" {
		l.Test, l.Return = belief.Amps, true
	}
	if l.Test == belief.Mended && len(parts) == 1 {
		return wasMended(l, answer, s)
	}
	if l.Test != belief.Amps && l.Test != belief.Volts {
		if len(parts) > 1 {
			return fail()
		}
		return y.sight(l, answer, s)
	}
	if len(parts) < 2 || len(parts) > 3 {
		return fail()
	}
	if len(parts) == 3 {
		first, last, _ := strings.Cut(parts[2], "-")
		var err1, err2 error
		l.First, err1 = strconv.Atoi(first)
		l.Last, err2 = strconv.Atoi(last)
		if err1 != nil || err2 != nil || l.First < 1 {
			return fail()
		}
	}
	if l.Test == belief.Amps {
		l.Feed = slices.IndexFunc(s.Feeds, func(f *config.Feed) bool { return f.At == parts[1] })
		if l.Feed < 0 {
			return l, inputf("%s has no feed at %.20q", s.Name, parts[1])
		}
	} else if parts[1] != "supply" {
		pixel, err := strconv.Atoi(parts[1])
		if err != nil || pixel < 1 {
			return fail()
		}
		l.Pixel = pixel
	}
	if dark, white, both := strings.Cut(answer, "/"); both && l.Test == belief.Amps {
		d, err := strconv.ParseFloat(strings.TrimSpace(dark), 64)
		if err != nil {
			return fail()
		}
		l.Dark, answer = &d, white
	}
	value, err := strconv.ParseFloat(strings.TrimSpace(answer), 64)
	if err != nil {
		return fail()
	}
	l.Value = value
	return l, nil
}

// sight reads what was seen, and which other strings did the same.
func (y Yard) sight(l belief.Look, answer string, s *config.String) (belief.Look, error) {
	answer, with, others := strings.Cut(answer, " with ")
	sign, at, placed := strings.Cut(strings.TrimSpace(answer), "@")
	l.Sign = belief.Sign(strings.ReplaceAll(sign, "-", " "))
	if placed {
		pixel, err := strconv.Atoi(at)
		if err != nil {
			return l, inputf("the look at %s: %.20q is no pixel", l.Test, at)
		}
		l.Pixel = pixel
	} else if belief.Placed(l.Sign) {
		return l, inputf("the look at %s: %s needs the last good pixel, as in %s=%s@41", l.Test, sign, l.Test, sign)
	}
	if !others {
		return l, nil
	}
	same := strings.Split(with, ",")
	for i := range same {
		if same[i] = strings.TrimSpace(same[i]); same[i] != "none" && y.Plan.Find(same[i]) == nil {
			return l, inputf("the plan has no string %.60q; write none, or the names of those that do the same", same[i])
		}
	}
	for i, o := range y.Plan.Strings {
		wrong := slices.Contains(same, o.Name)
		if o != s && (wrong || o.Controller == s.Controller || len(l.Others) < mostOthers) {
			l.Others = append(l.Others, belief.Other{Index: i, Wrong: wrong})
		}
	}
	return l, nil
}

// mostOthers is how many strings of other controllers are heeded: more say nothing new.
const mostOthers = 50
