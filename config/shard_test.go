package config

import (
	"strings"
	"testing"
)

const shared = `
controllers: [{name: boathouse}, {name: bandstand}, {name: lighthouse, address: 192.0.2.9}]
supplies: [{name: a, volts: 12, watts: 350}, {name: b, volts: 12, watts: 350}]
strings:
  - {name: roof, controller: bandstand, universe: 1, pixels: 50, supply: b}
  - {name: gable, controller: boathouse, port: 1, universe: 2, pixels: 200, supply: a}
  - {name: spiral, controller: lighthouse, universe: 2, pixels: 50}
  - {name: rail, controller: boathouse, port: 1, after: gable, universe: 5, pixels: 50, supply: a}
reserved: [{universe: 5, channels: 500-512, value: 7, what: blower}]
`

func TestShard(t *testing.T) {
	plan, problems := Load("yard.yaml", strings.NewReader(shared))
	for _, p := range problems {
		if p.Severity == Error {
			t.Fatal(p)
		}
	}
	part, problems := plan.Shard([]string{"boathouse"})
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	var names []string
	for i, s := range part.Strings {
		names = append(names, s.Name)
		if s.Index != i {
			t.Errorf("%s has index %d at %d", s.Name, s.Index, i)
		}
	}
	if got := strings.Join(names, " "); got != "gable rail" {
		t.Errorf("strings %s", got)
	}
	if part.Strings[1].After != part.Strings[0] || plan.Strings[3].After != plan.Strings[1] {
		t.Error("the part's rail does not come after the part's gable")
	}
	if a, b := part.Strings[0].Number(), part.Strings[1].Number(); a != 2 || b != 4 {
		t.Errorf("they are called %d and %d, want the whole plan's 2 and 4", a, b)
	}
	if len(part.Supplies) != 1 || part.Supplies[0].Name != "a" || len(part.Controllers) != 1 {
		t.Errorf("supplies %v, controllers %v", part.Supplies, part.Controllers)
	}
	var universes []uint16
	for _, u := range part.Map().Universes {
		universes = append(universes, u.Number)
	}
	if len(universes) != 3 || universes[0] != 2 || universes[1] != 3 || universes[2] != 5 {
		t.Errorf("universes %v, want 2, 3 and 5", universes)
	}
	if plan.Strings[1].Index != 1 || plan.Strings[3].Number() != 4 {
		t.Error("the whole plan was changed")
	}
	// Both halves together are the whole.
	rest, problems := plan.Shard([]string{"bandstand", "lighthouse"})
	if len(problems) > 0 || len(rest.Map().Universes)+len(part.Map().Universes) != len(plan.Map().Universes) {
		t.Errorf("%v: %d and %d universes of %d", problems, len(rest.Map().Universes), len(part.Map().Universes), len(plan.Map().Universes))
	}
}

func TestShardRefused(t *testing.T) {
	for _, c := range []struct{ text, controllers, want string }{
		{shared, "shed", `--only-controllers: the plan has no controller "shed"`},
		{shared, "boathose", `did you mean "boathouse"?`},
		{strings.Replace(shared, "universe: 1, pixels: 50, supply: b", "universe: 5, channel: 200, pixels: 50, supply: b", 1), "boathouse",
			"universe 5 serves roof, which is sent from elsewhere, and rail, which is sent from here; send both from one transmitter"},
		{strings.Replace(shared, "supply: b}\n", "supply: a}\n", 1), "bandstand", "supply a serves roof, which is sent from here, and gable, which is sent from elsewhere"},
		{strings.Replace(shared, "controller: bandstand, ", "", 1), "bandstand", "no string is on bandstand"},
	} {
		plan, problems := Load("yard.yaml", strings.NewReader(c.text))
		for _, p := range problems {
			if p.Severity == Error {
				t.Fatal(p)
			}
		}
		_, problems = plan.Shard(strings.Split(c.controllers, ","))
		found := false
		for _, p := range problems {
			found = found || p.Severity == Error && strings.Contains(p.String(), c.want)
		}
		if !found {
			t.Errorf("--only-controllers %s: %v, want %q", c.controllers, problems, c.want)
		}
	}
}
