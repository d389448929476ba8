package diagnose

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/diagnose/scan"
	"yardproof/config/budget"
)

// ParsePoints reads supply=12.1,1=11.8,50=10.9. Its errors, as those of all that is
// typed, are [InputError]s that say how to write it.
func ParsePoints(parts []string) (points []budget.Point, err error) {
	for _, part := range parts {
		at, volts, ok := typed(part)
		p := budget.Point{Volts: volts}
		if at != "supply" {
			p.Pixel, err = strconv.Atoi(at)
			ok = ok && err == nil && p.Pixel > 0
		}
		if !ok {
			return nil, inputf("%q: write supply=12.1, or a pixel's number, =, and the volts", part)
		}
		points = append(points, p)
	}
	return points, nil
}

// ParsePairs reads LIT=SEEN,LIT=SEEN.
func ParsePairs(text string) (map[string]string, error) {
	pairs := map[string]string{}
	for part := range strings.SplitSeq(text, ",") {
		lit, seen, _ := strings.Cut(part, "=")
		lit, seen = strings.TrimSpace(lit), strings.TrimSpace(seen)
		if lit == "" || seen == "" {
			return nil, inputf("%q: write the string that was asked to light, =, and the one that was seen", part)
		}
		if pairs[lit] != "" {
			return nil, inputf("%q: %s was asked to light twice", text, lit)
		}
		pairs[lit] = seen
	}
	return pairs, nil
}

// ParseSearch reads the last pixel seen lit and the first seen dark, 0,51.
func ParseSearch(text string) (*Search, error) {
	good, dark, ok := strings.Cut(text, ",")
	g, err1 := strconv.Atoi(strings.TrimSpace(good))
	d, err2 := strconv.Atoi(strings.TrimSpace(dark))
	if !ok || err1 != nil || err2 != nil {
		return nil, inputf("%q: write the last pixel seen lit (0: none) and the first seen dark, as in --half 0,51", text)
	}
	return &Search{Good: g, Dark: d}, nil
}

// ParseReadings reads dark=11.98,1-20=11.84; none begin a scan.
func ParseReadings(parts []string) ([]scan.Reading, error) {
	readings := []scan.Reading{}
	for _, part := range parts {
		block, value, ok := typed(part)
		r := scan.Reading{Value: value}
		var err error
		if block != "dark" {
			r.First, r.Last, err = cli.ParseBlock(block)
		}
		if !ok || err != nil {
			return nil, inputf("%q: write dark or the first and the last pixel, =, and what the meter showed, as in 1-20=11.84", part)
		}
		readings = append(readings, r)
	}
	return readings, nil
}

// typed is where something was read, and what, of 1-20=11.84.
func typed(part string) (at string, value float64, ok bool) {
	at, text, ok := strings.Cut(part, "=")
	value, err := meterValue(text)
	return strings.TrimSpace(at), value, ok && err == nil
}

// meterValue is what a person types of a meter: 11.84, 11,84 V.
func meterValue(text string) (float64, error) {
	text = strings.TrimRight(strings.TrimSpace(text), " vVaA")
	return strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
}

// AskReadings scans: it asks for one reading after the other, until a joint stands out
// or none does. When in ends, what is known by then is the answer.
func (y Yard) AskReadings(q Question, in io.Reader, talk io.Writer) (Outcome, error) {
	lines := bufio.NewScanner(io.LimitReader(in, 1<<16))
	for {
		out, err := y.Ask(q)
		if err != nil || out.Scan.Verdict.Done {
			return out, err
		}
		if len(q.Scan) == 0 {
			fmt.Fprintf(talk, "%s\nPress Enter alone to stop.\n", out.Answer.Next[1])
		}
		next := out.Scan.Verdict.Next
		fmt.Fprintf(talk, "%s\n%s: ", out.Answer.Next[0], out.Scan.Quantity)
		for {
			if !lines.Scan() || strings.TrimSpace(lines.Text()) == "" {
				fmt.Fprintln(talk)
				return out, lines.Err()
			}
			v, err := meterValue(lines.Text())
			if err == nil {
				q.Scan = append(q.Scan, scan.Reading{Block: next, Value: v})
				break
			}
			fmt.Fprintf(talk, "%.20q is not a number; type what the meter shows, as in 11.84\n%s: ", lines.Text(), out.Scan.Quantity)
		}
	}
}
