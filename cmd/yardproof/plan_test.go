package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"yardproof/config"
	"yardproof/patterns"
	"yardproof/sacn/sacntest"
)

const plans = "../../testdata/plans/"

// TestPlanGolden holds what plan prints to files that were read by a person.
func TestPlanGolden(t *testing.T) {
	street := plans + "street.yaml"
	for _, tt := range []struct {
		golden string
		code   int
		args   []string
	}{
		{"demo.text", 0, []string{"--demo"}},
		{"street.text", 0, []string{street}},
		{"street.json", 0, []string{street, "--format", "json"}},
		{"street.csv", 0, []string{street, "--format", "csv"}},
		{"street.sheet.text", 0, []string{street, "--sheet", "lighthouse"}},
		{"street.sheet.fault.text", 0, []string{street, "--sheet", "boathouse"}},
		{"street.sheet.csv", 0, []string{street, "--sheet", "boathouse", "--format", "csv"}},
		{"street.sheet.html", 0, []string{street, "--sheet", "lighthouse", "--format", "html"}},
		{"street.profile.text", 0, []string{street, "--profile", "--string", "rail"}},
		{"street.profile.svg", 0, []string{street, "--profile", "--string", "rail", "--format", "svg"}},
		{"street.patterns.text", 0, []string{street, "--patterns"}},
		{"street.patterns.rail.text", 0, []string{street, "--patterns", "--string", "rail"}},
		{"rows.yaml", 0, []string{"--from-csv", plans + "rows.csv"}},
	} {
		t.Run(tt.golden, func(t *testing.T) {
			code, out, talk := call(t, append([]string{"plan"}, tt.args...)...)
			if code != tt.code {
				t.Errorf("exit code %d, want %d", code, tt.code)
			}
			if strings.HasSuffix(tt.golden, ".json") {
				out = roundJSON(t, out)
			}
			if strings.HasSuffix(tt.golden, ".text") {
				out += "---- standard error\n" + talk
			}
			sacntest.Golden(t, plans+tt.golden, out)
		})
	}
}

// roundJSON keeps four digits of each number: the last ones differ between
// processors.
func roundJSON(t *testing.T, text string) string {
	t.Helper()
	var v any
	sacntest.JSON(t, text, &v)
	var round func(v any) any
	round = func(v any) any {
		switch v := v.(type) {
		case map[string]any:
			for k := range v {
				v[k] = round(v[k])
			}
		case []any:
			for i := range v {
				v[i] = round(v[i])
			}
		case float64:
			if math.Abs(v) < 1e-6 {
				return 0
			}
			if v != math.Trunc(v) {
				scale := math.Pow(10, 4-math.Ceil(math.Log10(math.Abs(v))))
				return math.Round(v*scale) / scale
			}
		}
		return v
	}
	b, err := json.MarshalIndent(round(v), "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	return string(b) + "\n"
}

// TestPlanContract checks that every key that other programs may rely on is
// there, by its path.
func TestPlanContract(t *testing.T) {
	_, out, _ := call(t, "plan", "--format", "json", "../../config/demo.yaml")
	var v map[string]any
	sacntest.JSON(t, out, &v)
	for _, path := range []string{
		"name",
		"universes.universe", "universes.channels", "universes.destination", "universes.packets_per_second",
		"strings.name", "strings.universe", "strings.channel", "strings.pixels", "strings.channels_per_pixel",
		"strings.segments.universe", "strings.segments.first_channel", "strings.segments.channels", "strings.segments.first_pixel", "strings.segments.pixels",
		"strings.full_white_amps", "strings.lowest_volts", "strings.lowest_volts_pixel", "strings.within_fuses_percent",
		"strings.feeds.at", "strings.feeds.supply", "strings.feeds.full_white_amps", "strings.feeds.fuse_amps", "strings.feeds.within_fuses_percent",
		"ports.controller", "ports.port", "ports.pixels", "ports.refresh_ms", "ports.max_rate_hz",
		"supplies.name", "supplies.full_white_amps", "supplies.limit_amps", "supplies.load_percent",
		"network.packets_per_second", "network.bits_per_second", "network.universes",
		"problems",
	} {
		var at any = v
		for _, key := range strings.Split(path, ".") {
			if list, ok := at.([]any); ok {
				at = list[0]
			}
			at = at.(map[string]any)[key]
		}
		if at == nil {
			t.Errorf("%s is missing", path)
		}
	}
	if list, ok := v["problems"].([]any); !ok || len(list) != 0 {
		t.Errorf("problems is %v, want an empty list", v["problems"])
	}
}

// TestPlanPatterns checks that no pattern, at the level that it is shown at,
// asks more of a supply than its continuous share, nor of a feed more than of its
// fuse; and that full white is what the plan itself says it is.
func TestPlanPatterns(t *testing.T) {
	plan, _ := config.Demo()
	type current struct {
		At   string
		Amps float64
	}
	var answer struct {
		Patterns []struct {
			Pattern string
			Level   float64 `json:"level_percent"`
			Amps    []current
		}
	}
	read := func(args ...string) {
		code, out, talk := call(t, append([]string{"plan", "--demo", "--patterns", "--format", "json"}, args...)...)
		if code != exitFine {
			t.Fatalf("%v: exit code %d: %s", args, code, talk)
		}
		sacntest.JSON(t, out, &answer)
		if len(answer.Patterns) != len(patterns.All()) {
			t.Errorf("%v: %d patterns", args, len(answer.Patterns))
		}
	}
	read()
	for _, p := range answer.Patterns {
		for i, s := range plan.Supplies {
			if c := p.Amps[i]; c.At != s.Name || c.Amps > s.Watts/s.Volts*s.ContinuousShare+1e-9 {
				t.Errorf("%s on all strings: %.2f A from %s", p.Pattern, c.Amps, c.At)
			}
		}
	}
	for _, s := range plan.Strings {
		read("--string", s.Name)
		for _, p := range answer.Patterns {
			for i, f := range s.Feeds {
				if c := p.Amps[i]; c.At != f.At || c.Amps > f.FuseAmps*f.FuseContinuousShare+1e-9 || c.Amps < 0 {
					t.Errorf("%s on %s: %.2f A into %s", p.Pattern, s.Name, c.Amps, c.At)
				}
			}
		}
	}
}

// planProblem is a problem as the JSON answer has it.
type planProblem struct{ Severity, Where, What, Fix string }

func (p planProblem) String() string {
	return fmt.Sprintf("%s: %s: %s; %s", p.Where, p.Severity, p.What, p.Fix)
}

// planProblems are a plan's, and whether the answer shows its strings.
func planProblems(t *testing.T, file string) (errors, warnings []planProblem, strings int) {
	t.Helper()
	code, out, talk := call(t, "plan", "--format", "json", file)
	var v struct {
		Strings  []any
		Problems []planProblem
	}
	sacntest.JSON(t, out, &v)
	for _, p := range v.Problems {
		if p.Where == "" || p.What == "" || p.Fix == "" {
			t.Errorf("problem %+v lacks a part", p)
		}
		if p.Severity == "error" {
			errors = append(errors, p)
		} else {
			warnings = append(warnings, p)
		}
	}
	if bad := len(errors) > 0; bad != (code == exitFound) || !bad && code != exitFine || talk != "" {
		t.Errorf("%s: %d errors, exit code %d, and it says %q", file, len(errors), code, talk)
	}
	return errors, warnings, len(v.Strings)
}

// A bill is for eyes first: lengths to the millimetre, whatever they were given in, and
// no sum where nothing has a price.
func TestPlanBill(t *testing.T) {
	file := sacntest.File(t, "porch.yaml", "supplies: [{name: hall, volts: 12, watts: 150}]\n"+
		"strings: [{name: beam, universe: 1, pixels: 50, supply: hall, fuse_amps: 5, pitch: {awg: 18, inches: 4}, feeds: [{awg: 16, feet: 6}]}]\n")
	code, out, talk := call(t, "plan", "--bill", file)
	for _, want := range []string{"16 AWG copper       1        1.829  beam at start\n", "What it costs is not known: the plan gives no prices under stock.\n"} {
		if code != exitFine || !strings.Contains(out, want) {
			t.Errorf("exit %d, says %q, lacks %q:\n%s", code, talk, want, out)
		}
	}
}

func TestPlanProblems(t *testing.T) {
	const text = "name: harbour\nsupplies: [{name: s, volts: 5, watts: 10}]\nstrings:\n  - {name: a, universe: 1, pixels: 50, chip: ws2812b, supply: s}\n  - {name: b, universe: 1, chanel: 7, pixels: 50}\nburn_in: {hours: 1, programme: [{pattern: wlak, minutes: 1}]}\n"
	file := sacntest.File(t, "bad.yaml", text)
	want := []string{file + ":5:25: error", file + ":5:28: error", file + `:6:43: error: burn_in: there is no pattern "wlak"; did you mean "walk"?`, "3 errors, the first at " + file + ":5:25", ""}
	for _, args := range [][]string{{"plan", file}, {"plan", "--quiet", file}, {"plan", "--bill", file}} {
		code, out, talk := call(t, args...)
		lines := strings.Split(talk, "\n")
		if code != exitFound || out != "" || len(lines) != len(want) {
			t.Fatalf("%v: code %d, prints %q and says %s", args, code, out, talk)
		}
		for i, w := range want {
			if !strings.HasPrefix(lines[i], w) {
				t.Errorf("%v: line %d is %q, want %q", args, i+1, lines[i], w)
			}
		}
	}
	if errors, _, strings := planProblems(t, file); len(errors) != 3 || strings != 2 {
		t.Errorf("JSON has %d errors and %d strings", len(errors), strings)
	}
	for args, want := range map[string]string{"--demo": demoVerdict, "--demo --quiet": ""} {
		if code, _, talk := call(t, append([]string{"plan"}, strings.Fields(args)...)...); code != exitFine || talk != want {
			t.Errorf("plan %s: code %d, says %q", args, code, talk)
		}
	}
}

// What is said of the built-in plan: each of its strings that are fed at both ends needs both
// at full white.
const demoVerdict = `no warnings
if one feed or feeder is lost: fuses have too much, in 8 cases; plan lists them
in two faults at once: wire has too much, on 9 strings; plan lists them under Protection
`

// A plan that comes by standard input is told of by that name.
func TestPlanStandardInput(t *testing.T) {
	for plan, want := range map[string]string{
		"strings: [{name: a, universe: 1, pixels: 50}]":   "",
		"strings: [{name: a, universe: 0, pixels: 50}]\n": "standard input:1:31: error: string a: universe cannot be 0",
	} {
		cmd := exec.CommandContext(t.Context(), os.Args[0], "plan", "--quiet", "-")
		cmd.Env = append(os.Environ(), sacntest.AsProgram+"=1")
		cmd.Stdin = strings.NewReader(plan)
		out, err := cmd.CombinedOutput()
		if bad := want != ""; bad == (err == nil) || !strings.HasPrefix(string(out), want) {
			t.Errorf("%q: %v, says %q", plan, err, out)
		}
	}
}

// TestPlanMixedPort checks that two kinds of chip on one data line are told of.
func TestPlanMixedPort(t *testing.T) {
	file := filepath.Join(t.TempDir(), "mixed.yaml")
	const text = `controllers: [{name: a}]
strings:
  - {name: x, controller: a, port: 1, universe: 1, pixels: 50}
  - {name: y, controller: a, port: 1, after: x, universe: 2, pixels: 50, chip: {kilobits: 400}}
  - {name: z, controller: a, port: 2, universe: 3, pixels: 50, chip: {kilobits: 400}}
`
	sacntest.Write(t, file, text)
	want := file + ":4:80: warning: string y: its chip takes 24 bits a pixel at 400 kbit/s, that of x on the same port 24 at 800; give it a port of its own, or correct the chip\n1 warning, at " + file + ":4:80\n"
	if code, text, talk := call(t, "plan", file); code != 0 || talk != want || !strings.Contains(text, "\n1 warning, at "+file+":4:80; listed at the end\n") {
		t.Errorf("code %d, says %q, want %q; prints %s", code, talk, want, text)
	}
}

// TestPlanOfBadPlans checks that a plan with errors prints those and nothing else,
// whatever was asked for, and a plan with warnings alone what was asked for too.
func TestPlanOfBadPlans(t *testing.T) {
	text := sacntest.Read(t, plans+"bad.txt")
	dir := t.TempDir()
	for i, block := range strings.Split(text, "\n== ")[1:] {
		title, rest, _ := strings.Cut(block, "\n")
		plan, _, _ := strings.Cut(rest, "\n--\n")
		file := filepath.Join(dir, fmt.Sprintf("%d.yaml", i))
		sacntest.Write(t, file, plan)
		errors, warnings, _ := planProblems(t, file)
		shown, code := warnings, exitFine
		if len(errors) > 0 {
			shown, code = errors, exitFound
		}
		for _, args := range []string{"--format text", "--format csv", "--bill", "--sheet a", "--profile --string a", "--quiet"} {
			got, out, talk := call(t, append(strings.Fields("plan "+args), file)...)
			named := strings.HasPrefix(args, "--sheet") || strings.HasPrefix(args, "--profile")
			if len(errors) == 0 && named && got != exitFine { // it has no such thing
				continue
			}
			if got != code || (out == "") != (len(errors) > 0 || args == "--quiet") {
				t.Errorf("%s, %s: exit code %d, want %d; prints %q", title, args, got, code, out)
			}
			lines := strings.Split(talk, "\n")
			for k, p := range shown {
				if k >= len(lines) || lines[k] != p.String() {
					t.Fatalf("%s, %s: says %s\nwant %v", title, args, talk, shown)
				}
			}
			if extra := len(lines) - len(shown); extra > 2 {
				t.Errorf("%s, %s: %d more lines: %s", title, args, extra, talk)
			}
		}
	}
}

func TestPlanWrongUse(t *testing.T) {
	street := plans + "street.yaml"
	dir := t.TempDir()
	for _, tt := range []struct {
		args string
		code int
		want string
	}{
		{"", 2, "name one plan file, or give --demo"},
		{"a b", 2, `unexpected argument "b"`},
		{"--format xml a", 2, `--format "xml" is not one of text, json, csv`},
		{"--format html a", 2, `--format "html" is not one of text, json, csv`},
		{"--sheet x --format json a", 2, `--format "json" is not one of text, csv, html`},
		{"--bill --format html a", 2, `--format "html" is not one of text, json, csv`},
		{"--bill --sheet x a", 2, "exclude each other"},
		{"--profile a", 2, "--profile needs --string NAME"},
		{"--picture ends a", 2, "--picture needs --string NAME"},
		{"--picture snow --string rail " + street, 2, `there is no pattern "snow"; it can be block, code,`},
		{"--picture end --string rail " + street, 2, `there is no pattern "end"; did you mean "ends"?`},
		{"--string x a", 2, "--string is for --profile, --picture, --patterns and --propose"},
		{"--patterns --bill a", 2, "exclude each other"},
		{"--patterns --format svg a", 2, `--format "svg" is not one of text, json`},
		{"--patterns --string quay " + street, 2, `no string "quay"`},
		{"--from-csv x a", 2, "--from-csv needs no plan: leave it out"},
		{"--demo a", 2, "give one of: a plan, --demo"},
		{"--demo --example", 2, "--example needs no plan: leave it out"},
		{"--example --bill", 2, "exclude each other"},
		{"--from-csv x --format csv", 2, "--from-csv prints a plan and has no --format"},
		{"--sheet quay " + street, 2, `no controller "quay"; it can be bandstand, boathouse, lighthouse`},
		{"--profile --string quay " + street, 2, `no string "quay"`},
		{"--profile --string spare " + street, 1, "the volts along spare are not known"},
		{dir + "/none.yaml", 2, "there is no plan"},
		{dir, 2, "is a directory"},
		{"--from-csv " + dir + "/none.csv", 1, "no such file"},
	} {
		code, out, talk := call(t, append([]string{"plan"}, strings.Fields(tt.args)...)...)
		if code != tt.code || !strings.Contains(talk, tt.want) || out != "" {
			t.Errorf("plan %s: code %d, want %d; it prints %q and says %q, want %q", tt.args, code, tt.code, out, talk, tt.want)
		}
	}
}

// TestPlanSchema checks that the schema is printed alone; config/schematest holds
// it against plans.
func TestPlanSchema(t *testing.T) {
	code, out, talk := call(t, "plan", "--schema")
	if code != 0 || talk != "" || out != string(config.Schema()) || !json.Valid([]byte(out)) {
		t.Errorf("code %d, %d octets, and it says %q", code, len(out), talk)
	}
}
