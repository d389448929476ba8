package web

import (
	"slices"
	"testing"
)

// TestReferenceIsWhole holds the reference against the routes, both ways.
func TestReferenceIsWhole(t *testing.T) {
	var served, told []string
	for _, r := range new(Server).routes() {
		served = append(served, r.method+" "+r.path)
	}
	for _, e := range reference {
		told = append(told, e.request)
	}
	slices.Sort(served)
	slices.Sort(told)
	if !slices.Equal(served, told) {
		t.Errorf("served\n%q\ntold\n%q", served, told)
	}
}
