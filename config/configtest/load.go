// Package configtest reads plans for the tests of other packages. It refuses to know
// what they are about.
package configtest

import (
	"strings"
	"testing"

	"yardproof/config"
)

// Load reads a plan written in YAML, which must have no error of its own. Warnings pass.
func Load(t testing.TB, text string) *config.Plan {
	t.Helper()
	p, problems := config.Load("test.yaml", strings.NewReader(text))
	for _, problem := range problems {
		if problem.Severity == config.Error {
			t.Fatal(problem)
		}
	}
	return p
}
