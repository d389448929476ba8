package transmit

import (
	"fmt"
	"slices"

	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/sacn/source"
)

// goodbye tells, a line each, what went out until the end, and what did not.
func goodbye(s source.Stats, streams []source.StreamStats) []string {
	end := "the streams are terminated"
	untold := untold(streams)
	switch {
	case s.Packets == 0:
		end = "nothing went out"
	case s.Link != source.LinkUp:
		// E1.31 clause 6.7.1: the network data loss condition.
		end = fmt.Sprintf("the streams could not be terminated (link %v): receivers notice the end after 2.5 s", s.Link)
	case len(untold) > 0:
		end += fmt.Sprintf(", but for %s: the last packets were refused, and receivers notice the end after 2.5 s", textout.Numbered("universe", untold))
	}
	lines := []string{fmt.Sprintf("sent %s in %s, skipped %d; %s",
		textout.Count(int(s.Frames), "frame"), textout.Count(int(s.Packets), "packet"), s.Skipped, end)}
	if s.Withheld > 0 {
		lines = append(lines, fmt.Sprintf("of %s no packet went out", textout.Count(int(s.Withheld), "frame")))
	}
	for _, e := range s.SendErrors {
		if e.Count > 0 {
			lines = append(lines, fmt.Sprintf("not sent: %s, the last to %s: %s (%s)", textout.Count(int(e.Count), "packet"), e.To, e.Why, e.Errno))
		}
	}
	var silent, lossy []uint16
	for _, st := range streams {
		switch {
		case st.Sent == 0 && (st.Present || st.Failed > 0): // else a plan that was replaced before it began
			silent = append(silent, st.Universe)
		case st.Failed > 0:
			lossy = append(lossy, st.Universe)
		}
	}
	for _, l := range []struct {
		what      string
		universes []uint16
	}{{"nothing went out to", silent}, {"packets were lost here to", lossy}} {
		if slices.Sort(l.universes); len(l.universes) > 0 {
			lines = append(lines, l.what+" "+textout.Numbered("universe", slices.Compact(l.universes)))
		}
	}
	return lines
}

// untold returns the universes of which some receiver was not told that they have ended.
func untold(streams []source.StreamStats) (universes []uint16) {
	for _, st := range streams {
		if st.Present && st.Sent > 0 && st.Terminated == 0 {
			universes = append(universes, st.Universe)
		}
	}
	slices.Sort(universes)
	return slices.Compact(universes)
}
