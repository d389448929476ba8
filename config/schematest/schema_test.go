package schematest

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"go.yaml.in/yaml/v3"

	"yardproof/config"
)

const root = "../../testdata/"

func compiled(t testing.TB) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(config.Schema()))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler() // it holds the schema against draft-07's own
	if err := c.AddResource("plan.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("plan.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// TestExamplePlans validates every example plan.
func TestExamplePlans(t *testing.T) {
	s := compiled(t)
	files, err := filepath.Glob(root + "plans/*.yaml")
	if err != nil {
		t.Fatal(err)
	}
	more, err := filepath.Glob(root + "*.yaml")
	if err != nil {
		t.Fatal(err)
	}
	files = append(files, more...)
	if len(files) < 4 {
		t.Fatalf("there are only the plans %v", files)
	}
	plans := map[string]string{"the demonstration": config.DemoText()}
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		plans[f] = string(text)
	}
	for name, text := range plans {
		var v any
		if err := yaml.Unmarshal([]byte(text), &v); err != nil {
			t.Fatal(err)
		}
		if err := s.Validate(v); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestRefuses checks that the schema marks what an editor should underline.
func TestRefuses(t *testing.T) {
	s := compiled(t)
	const ok = "name: gable, universe: 1, pixels: 50"
	for plan, good := range map[string]bool{
		"strings: [{" + ok + "}]": true,
		"strings: [{" + ok + ", fuse_amps: 5A, pitch: {awg: 20, inches: 3 in}}]":     true,
		"strings: [{" + ok + ", fuse_use: 60 %, data_lead: 10ft}]":                   true,
		"strings: [{" + ok + ", cut_positive_after: [20, 30]}]":                      true,
		"x-note: [1, {}]\nstrings: [{" + ok + "}]":                                   true,
		"notes: 3\nstrings: [{" + ok + "}]":                                          false,
		"name: harbour":                                                              false,
		"strings: [{name: gable, pixels: 50}]":                                       false,
		"strings: [{" + ok + ", direction: reverse}]":                                false,
		"strings: [{" + ok + ", flow: reverse}]":                                     false,
		"strings: [{" + ok + ", fuse_amps: 0}]":                                      false,
		"strings: [{" + ok + ", fuse_amps: 5 V}]":                                    false,
		"strings: [{name: gable, universe: 64000, pixels: 50}]":                      false,
		"strings: [{name: gable, universe: 1, pixels: 5.5}]":                         false,
		"strings: [{" + ok + ", chip: {name: ws2811, kilobit: 3}}]":                  false,
		"meter: 3\nstrings: [{" + ok + "}]":                                          false,
		"meter: 0.1 V\nstrings: [{" + ok + "}]":                                      false,
		"meter: 3%+1e-1a\nstrings: [{" + ok + "}]":                                   true,
		"keep: [{universe: 1, channels: 500-512}]\nstrings: [{" + ok + "}]":          false,
		"reserved: [{universe: 1, channels: all}]\nstrings: [{" + ok + "}]":          false,
		"burn_in: {between: 4pm-10pm}\nstrings: [{" + ok + "}]":                      false,
		"meter: good\nstrings: [{" + ok + "}]":                                       false,
		"meter: 0.1 A + 3 %\ntemperature: 35 C\nstrings: [{" + ok + ", order: grb}]": true,
	} {
		var v any
		if err := yaml.Unmarshal([]byte(plan), &v); err != nil {
			t.Fatal(err)
		}
		err := s.Validate(v)
		if (err == nil) != good {
			t.Errorf("%s: %v", plan, err)
		}
		_, problems := config.Load("p", strings.NewReader(plan))
		if accepted := len(problems) == 0; accepted != good {
			t.Errorf("%s: the plan's own check says %v", plan, problems)
		}
	}
}

// FuzzSchema checks that the schema takes every plan that has no error.
func FuzzSchema(f *testing.F) {
	s := compiled(f)
	f.Add(config.DemoText())
	street, err := os.ReadFile(root + "plans/street.yaml")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(string(street))
	f.Fuzz(func(t *testing.T, text string) {
		_, problems := config.Load("p", strings.NewReader(text))
		for _, p := range problems {
			if p.Severity == config.Error {
				return
			}
		}
		var v any
		if yaml.Unmarshal([]byte(text), &v) != nil {
			return
		}
		if err := s.Validate(v); err != nil {
			t.Errorf("%v\n%s", err, text)
		}
	})
}
