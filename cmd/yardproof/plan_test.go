package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
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
		{"street.bill.csv", 0, []string{street, "--bill"}},
		{"street.sheet.text", 0, []string{street, "--sheet", "lighthouse"}},
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
	if err := json.Unmarshal([]byte(text), &v); err != nil {
		t.Fatal(err)
	}
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
	if err := json.Unmarshal([]byte(out), &v); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{
		"name",
		"universes.universe", "universes.channels", "universes.destination", "universes.packets_per_second",
		"strings.name", "strings.universe", "strings.channel", "strings.pixels", "strings.channels_per_pixel",
		"strings.segments.universe", "strings.segments.first_channel", "strings.segments.channels", "strings.segments.first_pixel", "strings.segments.pixels",
		"strings.full_white_amps", "strings.lowest_volts", "strings.lowest_volts_pixel", "strings.safe_level_percent",
		"strings.feeds.at", "strings.feeds.supply", "strings.feeds.full_white_amps", "strings.feeds.fuse_amps", "strings.feeds.safe_level_percent",
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
		if err := json.Unmarshal([]byte(out), &answer); err != nil {
			t.Fatal(err)
		}
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

func TestPlanProblems(t *testing.T) {
	file := filepath.Join(t.TempDir(), "bad.yaml")
	const text = "name: harbour\nsupplies: [{name: s, volts: 5, watts: 10}]\nstrings:\n  - {name: a, universe: 1, pixels: 50, chip: ws2812b, supply: s}\n  - {name: b, universe: 1, chanel: 7, pixels: 50}\nburn_in: {hours: 1, programme: [{pattern: wlak, minutes: 1}]}\n"
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	want := []string{file + ":5:25: error", file + ":5:28: error", file + `:6:43: error: burn_in: there is no pattern "wlak"`}

	code, out, talk := call(t, "plan", file)
	for _, w := range append(want, "3 errors, ") {
		if !strings.Contains(talk, w) {
			t.Errorf("standard error lacks %q: %s", w, talk)
		}
	}
	if code != exitFound || !strings.Contains(out, "Strings (from") {
		t.Errorf("code %d; the map is to be printed all the same: %s", code, out)
	}

	code, out, talk = call(t, "plan", "--format", "json", file)
	var v struct {
		Strings  []any
		Problems []struct{ Severity, Where, What, Fix string }
	}
	if err := json.Unmarshal([]byte(out), &v); err != nil {
		t.Fatal(err)
	}
	if code != exitFound || talk != "" || len(v.Problems) < 2 || len(v.Strings) != 2 {
		t.Errorf("JSON: code %d, standard error %q, problems %v, %d strings", code, talk, v.Problems, len(v.Strings))
	}
	for _, p := range v.Problems {
		if p.Severity == "" || p.Where == "" || p.What == "" || p.Fix == "" {
			t.Errorf("problem %+v lacks a part", p)
		}
	}
}

// TestPlanMixedPort checks that two kinds of chip on one data line are told of.
func TestPlanMixedPort(t *testing.T) {
	file := filepath.Join(t.TempDir(), "mixed.yaml")
	const text = `controllers: [{name: a}]
strings:
  - {name: x, controller: a, port: 1, universe: 1, pixels: 50}
  - {name: y, controller: a, port: 1, universe: 2, pixels: 50, chip: {kilobits: 400}}
  - {name: z, controller: a, port: 2, universe: 3, pixels: 50, chip: {kilobits: 400}}
`
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	want := file + ":4:70: warning: string y: its chip takes 24 bits a pixel at 400 kbit/s, that of x on the same port 24 at 800; give it a port of its own, or correct the chip\n0 errors, 1 warning\n"
	if code, _, talk := call(t, "plan", file); code != 0 || talk != want {
		t.Errorf("code %d, says %q, want %q", code, talk, want)
	}
}

// TestPlanOfBadPlans checks that whatever was understood of a bad plan is shown,
// in every form.
func TestPlanOfBadPlans(t *testing.T) {
	text, err := os.ReadFile(plans + "bad.txt")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for i, block := range strings.Split(string(text), "\n== ")[1:] {
		title, rest, _ := strings.Cut(block, "\n")
		plan, _, _ := strings.Cut(rest, "\n--\n")
		file := filepath.Join(dir, fmt.Sprintf("%d.yaml", i))
		if err := os.WriteFile(file, []byte(plan), 0o600); err != nil {
			t.Fatal(err)
		}
		for _, args := range [][]string{{"--format", "text"}, {"--format", "json"}, {"--format", "csv"}, {"--bill"}, {"--sheet", "a"}, {"--profile", "--string", "a"}} {
			code, out, talk := call(t, append(append([]string{"plan"}, args...), file)...)
			if code != exitFound && code != exitUsage && !strings.Contains(talk, "0 errors") && !strings.Contains(out, `"warning"`) {
				t.Errorf("%s %v: exit code %d", title, args, code)
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
		{"a b", 2, `"b" is one word too many`},
		{"--format xml a", 2, `--format "xml" is not one of text, json, csv`},
		{"--format html a", 2, `--format "html" is not one of text, json, csv`},
		{"--sheet x --format json a", 2, `--format "json" is not one of text, csv, html`},
		{"--bill --format text a", 2, `--format "text" is not one of csv`},
		{"--bill --sheet x a", 2, "exclude each other"},
		{"--profile a", 2, "--profile needs --string NAME"},
		{"--picture ends a", 2, "--picture needs --string NAME"},
		{"--picture snow --string rail " + street, 2, `there is no pattern "snow"; it can be bits,`},
		{"--picture end --string rail " + street, 2, `there is no pattern "end"; did you mean "ends"?`},
		{"--string x a", 2, "--string is for --profile, --picture and --patterns"},
		{"--patterns --bill a", 2, "exclude each other"},
		{"--patterns --format svg a", 2, `--format "svg" is not one of text, json`},
		{"--patterns --string quay " + street, 2, `no string "quay"`},
		{"--from-csv x a", 2, "give one of: a plan, --demo, --example, --schema, --from-csv"},
		{"--demo a", 2, "give one of: a plan, --demo, --example, --schema, --from-csv"},
		{"--demo --example", 2, "give one of: a plan, --demo, --example, --schema, --from-csv"},
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

// TestPlanFromCSV checks that the plan made from rows is one, and that its
// problems are told at the cell.
func TestPlanFromCSV(t *testing.T) {
	dir := t.TempDir()
	for i, tt := range []struct {
		rows string
		code int
		want string // in what it says, after the file's name
	}{
		{"name,universe,pixels\ngable,1,50\n", 0, ""},
		{"\xef\xbb\xbfName\tUniverse\tPixels\ngable\t1\t50\n", 0, ""},
		{"name,universe,pixels\ngable,0,50\n", 1, ":2:7: error: string gable: universe cannot be 0"},
		{"pixels,name,universe\n50,gable,1\n50,ridge,1\n", 1, ":3:10: error: string ridge and string gable overlap"},
		{"name,universe,pixels,supply\ngable,1,50,a\n", 1, ":2:12: error: supply a: volts is missing"},
		{"name,universe\ngable,1\n", 1, `:1:1: the column "pixels" is missing`},
		{"name,universe,pixels,wheight\ngable,1,50,3\n", 1, `:1:22: "wheight" is no column`},
		{"name,universe,pixels,name\ngable,1,50,3\n", 1, `:1:22: there are two columns "name"`},
		{"name,universe,pixels\ngable,1,50,3\n", 1, ":2:12: this cell has no column name above it"},
		{"name,universe,pixels\n", 1, ": there are no rows"},
		{"name,universe,pixels,address\ng,1,5,192.0.2.1\n", 1, `:2:7: address "192.0.2.1" belongs to a controller, and this row names none`},
		{"name,universe,pixels,controller,address\ng,1,5,a,192.0.2.1\nh,2,5,a,\ni,3,5,a,192.0.2.2\n", 1, `:4:9: controller a has address "192.0.2.2" here and "192.0.2.1" above`},
		{"name,universe,pixels,supply,supply_volts,supply_watts\ng,1,5,a,12,\nh,2,5,a,12,350\n", 0, ""}, // said in two rows
		{"", 1, ": there are no rows"},
		{"name,universe,pixels\n\"gable,1,50\n", 1, "look for a quote that is not closed"},
		{"name,universe,pixels\n\"a: b # c\",1,50\n'=x,2,50\nyes,3,50\n\"é\"\"\\\",4,50\n1e3,5,50\n", 0, ""},
	} {
		file := filepath.Join(dir, fmt.Sprintf("%d.csv", i))
		if err := os.WriteFile(file, []byte(tt.rows), 0o600); err != nil {
			t.Fatal(err)
		}
		code, out, talk := call(t, "plan", "--from-csv", file)
		if code != tt.code || (tt.want == "" && talk != "no problems\n") || !strings.Contains(talk, tt.want) {
			t.Errorf("%q: code %d, says %q, want %d, %q", tt.rows, code, talk, tt.code, tt.want)
		}
		if code == 0 {
			plan := filepath.Join(dir, fmt.Sprintf("%d.yaml", i))
			if err := os.WriteFile(plan, []byte(out), 0o600); err != nil {
				t.Fatal(err)
			}
			if code, _, talk := call(t, "plan", plan); code != 0 {
				t.Errorf("%q: its plan is refused: %s\n%s", tt.rows, talk, out)
			}
		}
	}
}

// TestPlanExample checks that the file to begin from is a plan without a problem.
func TestPlanExample(t *testing.T) {
	_, text, _ := call(t, "plan", "--example")
	file := filepath.Join(t.TempDir(), "mine.yaml")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	_, want, _ := call(t, "plan", "--demo")
	if code, out, talk := call(t, "plan", file); code != 0 || out != want || talk != "no problems\n" {
		t.Errorf("code %d, says %q, and prints %s", code, talk, out)
	}
}
