package planfile

import (
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/config"
	"yardproof/sacn/sacntest"
)

func check(text string) Checked { return Check(config.Load("p", strings.NewReader(text))) }

func TestRead(t *testing.T) {
	dir := t.TempDir()
	var name cli.UsageError
	for path, want := range map[string]string{"": "empty", filepath.Join(dir, "none.yaml"): "there is no plan", dir: "is a directory"} {
		if _, err := Read(path); !errors.As(err, &name) || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want a wrong call with %q", path, err, want)
		}
	}
	file := filepath.Join(dir, "plan.yaml")
	sacntest.Write(t, file, "strings: [{name: a, universe: 1, pixels: 50}]")
	if c, err := Read(file); err != nil || c.Errors() != 0 || c.Budget == nil || c.Plan.File != file {
		t.Errorf("%+v, %v", c, err)
	}
}

// Errors stand alone, in the order of the file; warnings are shown when there are none.
func TestPrint(t *testing.T) {
	const good = "supplies: [{name: p, volts: 12, watts: 1}]\nstrings: [{name: a, universe: 1, pixels: 50, supply: p, amps_per_pixel: 0.05}]\n"
	for text, want := range map[string]string{
		"strings: [{name: a, universe: 1, pixels: 50}]": "",
		good: "warning|",
		good + "burn_in: {hours: 1, programme: [{pattern: wlak, minutes: 1}]}\nname: [a]\n": "p:3:43: error: burn_in: there is no pattern \"wlak\"; did you mean \"walk\"?|p:4:7: error|",
	} {
		c := check(text)
		var b strings.Builder
		c.Print(&b)
		lines := strings.Split(b.String(), "\n")
		wanted := strings.Split(want, "|")
		if len(lines) != len(wanted) {
			t.Errorf("%q prints %s", text, b.String())
			continue
		}
		for i := range wanted {
			if !strings.Contains(lines[i], wanted[i]) {
				t.Errorf("%q: line %d is %q, want %q", text, i+1, lines[i], wanted[i])
			}
		}
		if (c.Errors() > 0) != (c.Budget == nil) {
			t.Errorf("%q: %d errors, and the budget is %v", text, c.Errors(), c.Budget)
		}
	}
}

// There are no problems only where nothing that the plan does is too much, lost feeds and
// two faults at once included.
func TestCount(t *testing.T) {
	const supply = "supplies: [{name: a, volts: 12, watts: 600}]\n"
	const pitch = "supply: a, amps_per_pixel: 0.06, pitch: {awg: 12, millimetres: 50}, feeds: "
	for text, want := range map[string]string{
		supply + "strings: [{name: s, universe: 1, pixels: 50, " + pitch + "[{at: start, awg: 12, metres: 1, fuse_amps: 5}]}]": "no problems",
		supply + "strings: [{name: s, universe: 1, pixels: 100, " + pitch + "[{at: start, awg: 12, metres: 1, fuse_amps: 5}, {at: end, awg: 12, metres: 1, fuse_amps: 5}]}]": "no warnings\n" +
			"if one feed or feeder is lost: fuses have too much, in 2 cases; plan lists them",
		// without far all of 10.8 A go through the 10 A at the start of both
		supply + `feeders:
  - {name: near, supply: a, awg: 10, metres: 1, fuse_amps: 15}
  - {name: far, supply: a, awg: 10, metres: 1, fuse_amps: 15}
strings:
  - {name: both, universe: 1, pixels: 100, supply: a, amps_per_pixel: 0.06, pitch: {awg: 10, millimetres: 50}, feeds: [{at: start, from: near, awg: 10, metres: 1, fuse_amps: 10}, {at: end, from: far, awg: 10, metres: 1, fuse_amps: 10}]}
  - {name: one, universe: 2, pixels: 80, ` + pitch + `[{at: start, from: far, awg: 12, metres: 1, fuse_amps: 7}]}
`: "no warnings\nif one feed or feeder is lost: fuses have too much, in 1 case; plan lists them",
		// a fault takes 5.5 A from either end, and one return brings it all home through 18 AWG
		supply + "strings: [{name: s, universe: 1, pixels: 60, supply: a, amps_per_pixel: 0.06, pitch: {awg: 18, millimetres: 50}, feeds: [{at: start, awg: 18, metres: 1, fuse_amps: 5}, {at: end, awg: 18, metres: 1, fuse_amps: 5}]}]": "no warnings\n" +
			"in two faults at once: wire has too much, on 1 string; plan lists them under Protection",
	} {
		if c := check(text); c.Count() != want {
			t.Errorf("%s\nis %q, want %q; %v", text, c.Count(), want, c.Problems)
		}
	}
}

// A name is taken for what it says only where no such interface is.
func TestWireless(t *testing.T) {
	for name, want := range map[string]bool{"wlan-none-0": true, "eth-none-0": false, "lo": false, "": false, "../net": false} {
		if got := Wireless(name); got != want {
			t.Errorf("%q is wireless: %v", name, got)
		}
	}
	c := check("network: {interface: wlan-none-0}\nstrings: [{name: a, universe: 1, pixels: 50}]")
	if len(c.Problems) != 1 || c.Problems[0].String() != "p:1:22: warning: interface wlan-none-0 is wireless: multicast there is neither acknowledged nor sent fast (RFC 9119); use a cable" {
		t.Errorf("%v", c.Problems)
	}
}

func TestPart(t *testing.T) {
	c := check("controllers: [{name: x}, {name: y}]\nstrings: [{name: a, controller: x, universe: 1, pixels: 50}, {name: b, controller: y, universe: 2, pixels: 50}]")
	if whole := c.Part(nil); whole.Plan != c.Plan || whole.Budget != c.Budget {
		t.Error("no controllers are not the whole plan")
	}
	if part := c.Part([]string{"y"}); part.Errors() > 0 || len(part.Plan.Strings) != 1 || len(part.Budget.Strings) != 1 || part.Plan.Strings[0].Name != "b" || part.Protection == nil {
		t.Errorf("the part of y is %+v", part.Plan.Strings)
	}
	if part := c.Part([]string{"z"}); part.Errors() != 1 || part.Budget != nil {
		t.Errorf("the part of nobody has %v", part.Problems)
	}
	if len(c.Problems) != 0 {
		t.Errorf("a part has changed the whole: %v", c.Problems)
	}
}

func TestNoSuch(t *testing.T) {
	for _, tt := range []struct {
		name  string
		there []string
		want  string
	}{
		{"rial", []string{"rail", "roof"}, `there is no string "rial"; did you mean "rail"?`},
		{"mast", []string{"rail", "roof"}, `there is no string "mast"; it can be rail, roof`},
		{"mast", nil, "the plan has no strings"},
	} {
		if got := NoSuch("string", tt.name, tt.there).Error(); got != tt.want {
			t.Errorf("%s: %s, want %s", tt.name, got, tt.want)
		}
	}
}

// A service that is started again every few seconds says the same each time: a file that
// is wrong all through takes a bounded part of the journal.
func TestPrintIsBounded(t *testing.T) {
	text := "strings:\n" + strings.Repeat("  - {name: a, universe: 70000, pixels: 50}\n", 1001)
	var b strings.Builder
	c := check(text)
	c.Print(&b)
	lines := strings.Split(strings.TrimSpace(b.String()), "\n")
	if len(lines) != maxPrinted+1 || !strings.HasPrefix(lines[maxPrinted], fmt.Sprintf("p: and %d more", c.Errors()-maxPrinted)) || b.Len() > 200*maxPrinted {
		t.Errorf("%d errors are told in %d octets, %d lines, the last %q", c.Errors(), b.Len(), len(lines), lines[len(lines)-1])
	}
}
