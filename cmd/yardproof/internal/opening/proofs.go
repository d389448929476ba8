package opening

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/textout"
)

// most is how many names stand in one list: a sheet is to be read.
const most = 40

// name is a string's with the tag that hangs there.
func name(s record.Standing) string {
	if s.Label == "" {
		return s.String
	}
	return s.String + " (" + s.Label + ")"
}

func goodAt(s record.Standing, stages ...record.Stage) bool {
	return slices.ContainsFunc(stages, func(at record.Stage) bool {
		l := s.ByStage[at]
		return l != nil && l.Verdict == record.Good
	})
}

// proofs says what is unproved. A string must be proved where it hangs: a proof on the
// bench does not know the yard's wire.
func (f *Facts) proofs() Part {
	p := Part{Title: "Proofs", State: Go}
	for _, stage := range record.Stages() {
		var not []string
		for _, s := range f.Standings {
			if !goodAt(s, stage) {
				not = append(not, name(s))
			}
		}
		p.Items = append(p.Items, fmt.Sprintf("%s: %s", stage, unproved(not, len(f.Standings))))
	}
	var never, tonight int
	for _, s := range f.Standings {
		if !goodAt(s, record.Hung, record.Opening) {
			never++
		}
		if !goodAt(s, record.Opening) {
			tonight++
		}
	}
	switch {
	case never > 0:
		p.State, p.Says, p.Do = NoGo, textout.Count(never, "string")+" not proved where hung", "Prove them on the page, at the stage Hung or Opening."
	case tonight > 0:
		p.State, p.Says, p.Do = Check, "All are proved where hung; "+textout.Count(tonight, "string")+" not proved at opening", "Look at each once more on the night: the page, stage Opening."
	default:
		p.Says = "Every string is proved where hung, and at opening"
	}
	return p
}

func unproved(not []string, all int) string {
	switch len(not) {
	case 0:
		return "every string is good"
	case all:
		return "no string is good"
	}
	return fmt.Sprintf("%d of %d not good: %s", len(not), all, textout.Some(not, most))
}

// faults are those that no later proof has answered, the oldest first.
func (f *Facts) faults() Part {
	var open []record.Standing
	for _, s := range f.Standings {
		if s.Latest != nil && s.Latest.Verdict == record.Fault {
			open = append(open, s)
		}
	}
	if len(open) == 0 {
		return Part{Title: "Open faults", State: Go, Says: "None is on record"}
	}
	slices.SortStableFunc(open, func(a, b record.Standing) int { return a.Latest.Time.Compare(b.Latest.Time) })
	p := Part{Title: "Open faults", State: NoGo, Says: textout.Count(len(open), "string") + " at fault, the oldest first", Do: "Mend each, and prove it anew. Tell the others what stays as it is."}
	for _, s := range open {
		l := s.Latest
		what := []string{cmp.Or(l.Seen, "no word of what was seen")}
		if l.LastLit != nil {
			what = append(what, fmt.Sprintf("last good pixel %d", *l.LastLit))
		}
		if l.Note != "" {
			what = append(what, l.Note)
		}
		p.Items = append(p.Items, fmt.Sprintf("%s: %s, %s: %s", age(f.Now.Sub(l.Time)), name(s), cmp.Or(string(l.Stage), "no stage"), strings.Join(what, "; ")))
	}
	return p
}

// burnIn says which strings were on for their hours, and whether somebody looked.
func (f *Facts) burnIn() Part {
	p := Part{Title: "Burn-in", State: Go}
	wanted := time.Duration(f.Plan.BurnIn.Hours * float64(time.Hour))
	var short []string
	for _, s := range f.Standings {
		served := time.Duration(f.Burned.Strings[s.String].Served)
		if f.Burned.Strings[s.String].Label != s.Label {
			served = 0 // of the string that hung there before
		}
		if served == 0 || served < wanted {
			short = append(short, fmt.Sprintf("%s %s", name(s), hours(served)))
		}
	}
	p.Says = "Every string was sent its hours"
	if len(short) > 0 {
		p.State, p.Do = Check, "Run yardproof burn-in: it goes on where it stopped."
		p.Says = fmt.Sprintf("%s not sent %s yet", textout.Count(len(short), "string"), hours(wanted))
		if len(short) == len(f.Standings) && len(f.Burned.Strings) == 0 {
			p.Says, p.Do, short = "There was no burn-in", "Run yardproof burn-in.", nil
		}
		if len(short) > 0 {
			p.Items = append(p.Items, textout.Some(short, most))
		}
	}
	looked := "Nobody has said that the lights were looked at. Hours sent do not prove light."
	if n := f.Burned.Looks; n > 0 {
		looked = fmt.Sprintf("Looked at %s, last %s ago.", textout.Count(n, "time"), age(f.Now.Sub(f.Burned.LastLook)))
	} else if p.State == Go {
		p.State, p.Do = Check, "Look, and say so: yardproof looked all lit, or the page."
	}
	p.Items = append(p.Items, looked)
	return p
}

// feeds are those whose current nobody read under white since this string hangs there,
// and those where it was far from what it should be.
func (f *Facts) feeds() Part {
	var not, off []string
	all, missing := 0, 0
	for _, s := range f.Standings {
		read := map[string]bool{}
		for _, stage := range []record.Stage{record.Hung, record.Opening} {
			if l := s.ByStage[stage]; l != nil {
				for _, r := range l.Readings {
					if r.Off() {
						off = append(off, fmt.Sprintf("%s %s: %.2f A of %.2f A %s (%s)", name(s), r.Feed, r.Value, *r.Expected, r.While, stage))
					}
					read[r.Feed] = read[r.Feed] || r.Amps(record.WhileWhite)
				}
			}
		}
		var here []string
		for _, feed := range f.Plan.Find(s.String).Feeds {
			if all++; !read[feed.At] {
				here = append(here, feed.At)
			}
		}
		if missing += len(here); len(here) > 0 {
			not = append(not, name(s)+" "+textout.And(here))
		}
	}
	p := Part{Title: "Feeds", State: Go, Says: textout.Count(all, "feed was", "feeds were") + " read under white where they hang: all of them"}
	if missing > 0 {
		p = Part{Title: "Feeds", State: Check, Says: fmt.Sprintf("%d of %d not read under white where they hang", missing, all),
			Items: []string{textout.Some(not, most)}, Do: "Measure amps at each under white: a feed that carries nothing is not seen by eye."}
	}
	if len(off) > 0 {
		p.State, p.Do = Check, strings.TrimSpace("Find out why what was read is far off: the page, Find out. "+p.Do)
		p.Items = append(p.Items, textout.Some(off, most))
	}
	return p
}

// age is how long ago something was, in the greatest unit that fits.
func age(d time.Duration) string {
	switch {
	case d < 0:
		return "in the future by this clock"
	case d < time.Hour:
		return textout.Count(max(1, int(d.Minutes())), "minute")
	case d < 48*time.Hour:
		return textout.Count(int(d.Hours()), "hour")
	}
	return textout.Count(int(d.Hours()/24), "day")
}

func hours(d time.Duration) string { return textout.Number(float64(int(d.Hours()*10))/10) + " h" }
