package main

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestFaultTable: each test that DEVELOPERS.md names beside a fault is there, and each
// that package sacn names beside a rule of the standard.
func TestFaultTable(t *testing.T) {
	text, err := os.ReadFile("../../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	_, table, _ := strings.Cut(string(text), "## Faults")
	table, _, _ = strings.Cut(table, "\n## ")
	there := map[string]bool{}
	function := regexp.MustCompile(`(?m)^func (?:Test)?(\w+)\(`)
	err = filepath.WalkDir("../..", func(path string, d fs.DirEntry, err error) error {
		if err != nil || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		source, err := os.ReadFile(path)
		for _, m := range function.FindAllStringSubmatch(string(source), -1) {
			there[m[1]] = true
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	rows := 0
	for line := range strings.Lines(table) {
		cells := strings.Split(line, "|")
		if len(cells) < 6 || strings.Contains(cells[4], "---") || strings.TrimSpace(cells[4]) == "test" {
			continue
		}
		rows++
		for _, name := range regexp.MustCompile(`\b[A-Z]\w+`).FindAllString(cells[4], -1) {
			if !there[name] {
				t.Errorf("there is no test %s, named beside: %s", name, strings.TrimSpace(cells[1]))
			}
		}
	}
	rules, err := os.ReadFile("../../sacn/doc.go")
	if err != nil {
		t.Fatal(err)
	}
	named := regexp.MustCompile(`\bTest(\w+)`).FindAllStringSubmatch(string(rules), -1)
	for _, m := range named {
		if !there[m[1]] {
			t.Errorf("there is no Test%s, named beside a rule of the standard", m[1])
		}
	}
	if len(named) < 40 {
		t.Errorf("%d tests beside the rules of the standard", len(named))
	}
	if rows < 20 {
		t.Errorf("%d rows", rows)
	}
}
