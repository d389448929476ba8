package main

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/diagnose"
	"yardproof/cmd/yardproof/internal/diagnose/scan"
)

// parseReads reads dark=11.98,1-20=11.84; none begin a scan.
func parseReads(parts []string) ([]scan.Reading, error) {
	readings := []scan.Reading{}
	for _, part := range parts {
		block, value, ok := strings.Cut(part, "=")
		var r scan.Reading
		var err error
		if block = strings.TrimSpace(block); block != "dark" {
			r.First, r.Last, err = parseBlock(block)
		}
		v, err2 := meterValue(value)
		if r.Value = v; !ok || err != nil || err2 != nil {
			return nil, cli.Usagef("--read %q: write dark or the first and the last pixel, =, and what the meter showed, as in 1-20=11.84", part)
		}
		readings = append(readings, r)
	}
	return readings, nil
}

// meterValue is what a person types of a meter: 11.84, 11,84 V.
func meterValue(text string) (float64, error) {
	text = strings.TrimRight(strings.TrimSpace(text), " vVaA")
	return strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
}

// askReadings asks for one reading after the other, until a joint stands out or none
// does. When the input ends, what is known by then is the answer.
func askReadings(y diagnose.Yard, q diagnose.Question, std stdio) (diagnose.Outcome, error) {
	lines := bufio.NewScanner(io.LimitReader(os.Stdin, 1<<16))
	for {
		out, err := y.Ask(q)
		if err != nil || out.Scan.Verdict.Done {
			return out, err
		}
		if len(q.Scan) == 0 {
			fmt.Fprintf(std.err, "%s\nPress Enter alone to stop.\n", out.Answer.Next[1])
		}
		next := out.Scan.Verdict.Next
		fmt.Fprintf(std.err, "%s\n%s: ", out.Answer.Next[0], out.Scan.Quantity)
		for {
			if !lines.Scan() || strings.TrimSpace(lines.Text()) == "" {
				fmt.Fprintln(std.err)
				return out, lines.Err()
			}
			v, err := meterValue(lines.Text())
			if err == nil {
				q.Scan = append(q.Scan, scan.Reading{Block: next, Value: v})
				break
			}
			fmt.Fprintf(std.err, "%.20q is not a number; type what the meter shows, as in 11.84\n%s: ", lines.Text(), out.Scan.Quantity)
		}
	}
}
