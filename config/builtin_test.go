package config

import "testing"

func TestDemoHasNoProblem(t *testing.T) {
	_, problems := Demo()
	for _, p := range problems {
		t.Error(p)
	}
}
