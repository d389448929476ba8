package main

import (
	"bytes"
	"context"
	"strings"
	"testing"
	"time"

	"github.com/spf13/pflag"
)

// ends are the ends of what a kind of flag can hold, and what is past them.
var ends = map[string][]string{
	"int":      {"-9223372036854775809", "-9223372036854775808", "-1", "0", "1", "9223372036854775807", "9223372036854775808", "1e3", "NaN", ""},
	"uint64":   {"-1", "0", "18446744073709551615", "18446744073709551616", "1.5", ""},
	"float64":  {"-1e309", "-1e308", "-1", "-0", "0", "5e-324", "1e308", "1e309", "NaN", "Inf", "-Inf", ""},
	"duration": {"-2562047h", "-1ns", "0", "1ns", "2562047h47m16.854775807s", "2562047h47m16.854775808s", "1e3s", "5", ""},
	"percent":  {"-1%", "-0", "0", "100", "100%", "100.001%", "1e309", "NaN", "%", ""},
	"range":    {"0", "0-1", "1-63999", "63999", "64000", "63999-1", "-1", "1-", "1-99999999999999999999", ",", ""},
}

// TestNumbersAtTheirEnds gives each flag that takes a number the ends of what it can hold,
// and what is past them: it is taken, or refused in words. Nothing panics, and nothing
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
		c, err := findCommand(name)
		if err != nil {
			t.Fatal(err)
		}
		fs := pflag.NewFlagSet(name, pflag.ContinueOnError)
		c.define(fs)
		fs.VisitAll(func(f *pflag.Flag) {
			kind, named := kinds[f.Name]
			if !named {
				kind = f.Value.Type()
			}
			if len(ends[kind]) == 0 || f.Hidden {
				return
			}
			t.Run(name+" "+f.Name, func(t *testing.T) {
				t.Parallel()
				state := t.TempDir()
				for _, value := range ends[kind] {
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
						code := run(ctx, stdio{&out, &said}, args)
						cancel()
						if code < 0 || code > 2 || strings.Contains(said.String(), "goroutine ") {
							t.Errorf("%q: exit %d, %s", args, code, &said)
						}
						if code > 0 && said.Len()+out.Len() == 0 {
							t.Errorf("%q: exit %d without a word", args, code)
						}
						if isNumber := code == 2 && strings.Contains(said.String(), "invalid argument"); isNumber && !strings.Contains(said.String(), "--"+f.Name) {
							t.Errorf("%q: it does not name the flag: %s", args, &said)
						}
					}
				}
			})
		})
	}
}
