package history

import (
	"slices"
	"strings"
	"time"
)

// fault is a time in which one measure was wrong without a pause.
type fault struct {
	From, To          time.Time
	What, Which, ToDo string
	Long              time.Duration // in all; 0: it is not measured
}

// pause is how far apart two wrong minutes may lie and still be one fault.
const pause = 150 * time.Second

// faults lists what was wrong in a day, the newest first.
func faults(day []Sample) []fault {
	var all []fault
	for _, m := range measures() {
		var open *fault
		var which []string
		end := func() {
			if open != nil {
				open.Which = m.all
				if len(which) > 0 {
					open.Which = strings.Join(which, ", ")
				}
				all = append(all, *open)
			}
			open, which = nil, nil
		}
		for _, s := range day {
			if !m.bad(s) {
				continue
			}
			if open != nil && s.Time.Sub(open.To) > pause {
				end()
			}
			if open == nil {
				open = &fault{From: s.Time.Add(-time.Minute), What: m.wrong, ToDo: m.toDo} // a sample tells of the minute before it
			}
			open.To = s.Time
			if v, ok := m.of(s); m.sum && ok {
				open.Long += time.Duration(v * float64(time.Second)).Round(time.Second)
			}
			if m.names != nil {
				which = union(which, m.names(s))
			}
		}
		end()
	}
	slices.SortStableFunc(all, func(a, b fault) int { return b.To.Compare(a.To) })
	return all
}

// MostNames are kept of one minute.
const MostNames = 8

// union adds names that are not there yet.
func union(to, names []string) []string {
	for _, n := range names {
		if len(to) < MostNames && !slices.Contains(to, n) {
			to = append(to[:len(to):len(to)], n)
		}
	}
	return to
}
