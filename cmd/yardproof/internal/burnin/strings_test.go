package burnin

import (
	"strings"
	"testing"

	"yardproof/config"
)

func TestChosenStrings(t *testing.T) {
	plan, _ := load(t, shortProgramme)
	for _, c := range []struct{ strings, controllers, want string }{
		{"", "", "gable-left gable-right roof"},
		{"roof", "", "roof"},
		{"", "boathouse", "gable-left gable-right"},
		{"roof gable-left", "", "gable-left roof"},
	} {
		got, err := choose(plan, strings.Fields(c.strings), strings.Fields(c.controllers))
		if err != nil || strings.Join(got, " ") != c.want {
			t.Errorf("%+v: %v %v", c, got, err)
		}
	}
	for _, c := range [][2][]string{{{"gabel"}, nil}, {nil, {"lighthouse"}}} {
		if _, err := choose(plan, c[0], c[1]); err == nil {
			t.Errorf("%v: no error", c)
		}
	}
}

func TestNoProgramme(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"hours: 1", "no programme"},
		{"{programme: [{pattern: walk, minutes: 1}]}", "how long"},
		{"{hours: 1, programme: [{pattern: wlak, minutes: 1}]}", `street.yaml:3:`},
	} {
		plan, _ := config.Load("street.yaml", strings.NewReader("strings: [{name: a, universe: 1, pixels: 5}]\nburn_in:\n  "+c.text+"\n"))
		if _, err := NewProgramme(plan, 0); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.text, err, c.want)
		}
	}
}
