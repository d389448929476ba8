package film

import (
	"fmt"
	"io"
	"slices"

	"yardproof/cmd/yardproof/internal/textout"
)

// Summary is a string with its pixels by verdict.
type Summary struct {
	String
	Pixel map[Verdict][]Pixel
}

// Summaries are the strings of the plan, those to look at first ahead: what is wrong,
// then what was not wholly seen, then what is good.
func (r *Result) Summaries() []Summary {
	all, at := make([]Summary, len(r.Strings)), map[string]int{}
	for i, s := range r.Strings {
		all[i], at[s.Name] = Summary{s, map[Verdict][]Pixel{}}, i
	}
	for _, p := range r.Pixels {
		s := all[at[p.String]]
		s.Pixel[p.Verdict] = append(s.Pixel[p.Verdict], p)
	}
	slices.SortStableFunc(all, func(a, b Summary) int { return a.rank() - b.rank() })
	return all
}

func (s Summary) rank() int {
	switch {
	case s.Wrong():
		return 0
	case !s.Good():
		return 1
	}
	return 2
}

// Wrong reports whether something of it was seen to be wrong.
func (s Summary) Wrong() bool {
	for v, p := range s.Pixel {
		if v != Good && v != NotSeen && len(p) > 0 {
			return true
		}
	}
	return slices.ContainsFunc(s.Findings, func(f Finding) bool { return f.Sure })
}

// Good reports whether all of it was seen, and all is good.
func (s Summary) Good() bool {
	return len(s.Findings) == 0 && s.Pixels > 0 && len(s.Pixel[Good]) == s.Pixels
}

// Lines say what was seen of its pixels that are not good, a verdict a line.
func (s Summary) Lines() (lines []string) {
	for _, v := range Verdicts() {
		byDetail, order := map[string][]int{}, []string{}
		for _, p := range s.Pixel[v] {
			detail := p.Detail
			if v == OtherAddress {
				detail = "" // each has another: a finding says which
			}
			if byDetail[detail] == nil {
				order = append(order, detail)
			}
			byDetail[detail] = append(byDetail[detail], p.Pixel)
		}
		if v == Good || v == ColourOrder && s.has(KindOrder) || v == OtherAddress && len(s.Findings) > 0 {
			continue // a finding has said it of the whole string
		}
		for _, detail := range order {
			lines = append(lines, v.says(detail)+": "+rangesOf(byDetail[detail]))
		}
	}
	return lines
}

func (s Summary) has(k Kind) bool {
	return slices.ContainsFunc(s.Findings, func(f Finding) bool { return f.Kind == k })
}

// maxRanges is how long a list of pixels may be before they are only counted.
const maxRanges = 300 // octets

func rangesOf(pixels []int) string {
	text := textout.Ranges(pixels)
	if len(text) > maxRanges {
		return textout.Count(len(pixels), "pixel")
	}
	return textout.Count(len(pixels), "pixel") + " (" + text + ")"
}

// says is a verdict in words.
func (v Verdict) says(detail string) string {
	switch v {
	case Stuck:
		return "lit while all is dark"
	case ColourMissing:
		return "no " + detail
	case OtherAddress:
		return "shows the address of another pixel"
	case ColourOrder:
		return "colours come as " + detail
	case NotSeen:
		return "not seen"
	}
	return "good"
}

// Text writes what a person reads.
func (r *Result) Text(w io.Writer) error {
	pen := &pen{w: w}
	for _, f := range r.Films {
		pen.line("A film of %.1f seconds, %s of %d by %d.", f.Seconds, textout.Count(f.Frames, "frame"), f.Width, f.Height)
	}
	seen, pixels := 0, 0
	var good []string
	all := r.Summaries()
	for _, s := range all {
		seen, pixels = seen+s.Seen, pixels+s.Pixels
		if s.Good() {
			good = append(good, s.Name)
		}
	}
	pen.line("%d of %s seen.", seen, textout.Count(pixels, "pixel"))
	hidden := false
	for i, s := range all {
		if s.Good() {
			continue
		}
		if i == 0 {
			pen.line("\nTo look at:")
		}
		pen.line("\n%s: %d of %s seen", s.Name, s.Seen, textout.Count(s.Pixels, "pixel"))
		for _, f := range s.Findings {
			pen.line("  %s", f.Says)
			pen.line("    what to do: %s", f.Do)
		}
		for _, l := range s.Lines() {
			pen.line("  %s", l)
		}
		hidden = hidden || len(s.Pixel[NotSeen]) > 0
	}
	if hidden {
		pen.line("\nNot seen is not dead: a branch before it looks the same. Film from another side, or walk there.")
	}
	if len(good) > 0 {
		pen.line("\nSeen as a whole, and good: %s.", textout.And(good))
	}
	return pen.err
}

// pen writes lines until one fails.
type pen struct {
	w   io.Writer
	err error
}

func (p *pen) line(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format+"\n", args...)
	}
}
