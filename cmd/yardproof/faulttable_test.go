package main

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"yardproof/sacn/sacntest"
)

// A named test is one that the docs name, and the end of its package's path.
type namedTest struct{ dir, name string }

var testWord = regexp.MustCompile("`([a-z][\\w/]*)`|\\b(?:Test)?([A-Z]\\w+)|;")

// namedTests are those of a cell: "`record` Killed, FullDisk; Storm" has two of record and
// one of this package, after the semicolon.
func namedTests(cell string) (named []namedTest) {
	dir := "cmd/yardproof"
	for _, m := range testWord.FindAllStringSubmatch(cell, -1) {
		switch {
		case m[1] != "":
			dir = m[1]
		case m[2] != "":
			named = append(named, namedTest{dir, m[2]})
		default:
			dir = "cmd/yardproof"
		}
	}
	return named
}

// TestFaultTable: each test that DEVELOPERS.md names beside a fault, and beside what was
// taken out, is in the package that it is said to be in, and so is each that package sacn
// names beside a rule of the standard. No fault is without.
func TestFaultTable(t *testing.T) {
	text := sacntest.Read(t, "../../DEVELOPERS.md")
	there := map[string][]string{} // by name, the directories
	function := regexp.MustCompile(`(?m)^func (?:Test)?([A-Z]\w+)\(`)
	err := filepath.WalkDir("../..", func(path string, d fs.DirEntry, err error) error {
		if err != nil || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		source, err := os.ReadFile(path)
		for _, m := range function.FindAllStringSubmatch(string(source), -1) {
			there[m[1]] = append(there[m[1]], filepath.ToSlash(filepath.Dir(path)))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	// rows are the cells of a column, of the table under a heading.
	rows := func(head string, column int) (cells []string) {
		_, table, found := strings.Cut(text, head)
		table, _, _ = strings.Cut(table, "\n\n")
		if !found || strings.Count(table, "\n") < 20 {
			t.Errorf("there is no long table %s", head)
		}
		for row := range strings.Lines(table) {
			if c := strings.Split(row, "|"); len(c) > column && !strings.Contains(row, "|---|") && strings.TrimSpace(c[1]) != "" {
				cells = append(cells, c[column])
			}
		}
		return cells
	}
	for _, cell := range append(rows("\n| fault | what happens | how long | test |", 4), rows("\n| taken out | red |", 2)...) {
		named := namedTests(cell)
		if len(named) == 0 {
			t.Errorf("no test is named: %s", cell)
		}
		for _, n := range named {
			if !slices.ContainsFunc(there[n.name], func(dir string) bool { return strings.HasSuffix(dir, "/"+n.dir) }) {
				t.Errorf("there is no test %s in %s: %s", n.name, n.dir, cell)
			}
		}
	}
	rules := sacntest.Read(t, "../../sacn/doc.go")
	named := regexp.MustCompile(`\bTest(\w+)`).FindAllStringSubmatch(rules, -1)
	for _, m := range named {
		if len(there[m[1]]) == 0 {
			t.Errorf("there is no Test%s, named beside a rule of the standard", m[1])
		}
	}
	if len(named) < 40 {
		t.Errorf("%d tests beside the rules of the standard", len(named))
	}
}
