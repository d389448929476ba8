package main

import (
	"bytes"
	"context"
	"flag"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/program"
)

var allEnds = flag.Bool("ends", false, "TestNumbersAtTheirEnds tries what flags may hold as well, not only what is past it")

// past is what lies beyond all that a kind of flag can mean; near is the ends of that, or
// near them, which for a command that sends costs a start each.
var past, near = map[string][]string{
	"int":      {"-9223372036854775809", "-1", "9223372036854775808", "NaN"},
	"uint64":   {"-1", "18446744073709551616"},
	"float64":  {"-1e309", "-1e308", "1e309", "NaN"},
	"duration": {"-1ns", "2562047h47m16.854775808s"},
	"percent":  {"-1%", "100.001%", "NaN"},
	"range":    {"0", "64000", "63999-1", "1-99999999999999999999"},
}, map[string][]string{
	"int":      {"-9223372036854775808", "0", "1", "9223372036854775807", "1e3", ""},
	"uint64":   {"0", "18446744073709551615", "1.5", ""},
	"float64":  {"-1", "-0", "0", "5e-324", "1e308", "Inf", "-Inf", ""},
	"duration": {"-2562047h", "0", "1ns", "2562047h47m16.854775807s", "5", ""},
	"percent":  {"-0", "0", "100", "100%", "%", ""},
	"range":    {"0-1", "1-63999", "63999", "-1", "1-", ",", ""},
}

// TestNumbersAtTheirEnds gives each flag that takes a number the ends of what it can hold,
// and what is past them: the one is taken, or refused in words, the other refused. Nothing panics, and nothing
// goes on that should have ended.
func TestNumbersAtTheirEnds(t *testing.T) {
	t.Parallel() // it waits more than it works
	plan := burnInPlan
	kinds := map[string]string{"level": "percent", "universes": "range", "block": "range", "only-controllers": ""}
	for name, bases := range map[string][]string{
		"run":      {"--demo --no-scan --for 20ms --http 127.0.0.1:0", "--universe 1 --pixels 50 --volts 12 --interface lo --no-scan --for 20ms --http 127.0.0.1:0"},
		"rehearse": {"--demo --for 20ms --http 127.0.0.1:0"},
		"burn-in":  {"--interface lo --no-scan --for 20ms --http 127.0.0.1:0 " + plan},
		"listen":   {"--interface lo --universes 1 --for 20ms"},
		"plan":     {"--demo", "--demo --propose feeds"},
		"diagnose": {"--string gable " + plan, "--string gable --amps 2 " + plan, "--pixels 50 --last-lit 12 --tail frozen", "--amps 2 --expected 2.5"},
	} {
		all := yardproof().All()
		c := all[slices.IndexFunc(all, func(c program.Command) bool { return c.Name == name })]
		fs := pflag.NewFlagSet(name, pflag.ContinueOnError)
		c.Define(fs)
		fs.VisitAll(func(f *pflag.Flag) {
			kind, named := kinds[f.Name]
			if !named {
				kind = f.Value.Type()
			}
			if len(past[kind]) == 0 || f.Hidden {
				return
			}
			t.Run(name+" "+f.Name, func(t *testing.T) {
				t.Parallel()
				state := t.TempDir()
				values := past[kind]
				if *allEnds {
					values = slices.Concat(values, near[kind])
				}
				for i, value := range values {
					refused := i < len(past[kind])
					for _, base := range bases {
						args := append([]string{name}, strings.Fields(base)...)
						args = append(args, "--"+f.Name+"="+value)
						if fs.Lookup("state") != nil {
							args = append(args, "--state", state)
						}
						ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
						if f.Name == "for" || f.Name == "seconds" {
							time.AfterFunc(100*time.Millisecond, cancel)
						}
						var out, said bytes.Buffer
						code := yardproof().Run(ctx, program.Stdio{Out: &out, Err: &said}, args)
						cancel()
						if code < 0 || code > 2 || strings.Contains(said.String(), "goroutine ") {
							t.Errorf("%q: exit %d, %s", args, code, &said)
						}
						if refused && (code == exitFine || said.Len() == 0) {
							t.Errorf("%q: exit %d, want a refusal: %s", args, code, &said)
						}
						if code > 0 && said.Len()+out.Len() == 0 {
							t.Errorf("%q: exit %d without a word", args, code)
						}
						if isNumber := code == 2 && strings.Contains(said.String(), " cannot be "); isNumber && !strings.Contains(said.String(), "--"+f.Name) {
							t.Errorf("%q: it does not name the flag: %s", args, &said)
						}
					}
				}
			})
		})
	}
}
