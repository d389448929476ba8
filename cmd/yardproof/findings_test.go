package main

import (
	"fmt"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"yardproof/config/protection"
	"yardproof/sacn/sacntest"
)

// pier is a plan of one controller; more are its supplies besides, feeders and mains.
func pier(more string, strings ...string) string {
	text := "controllers: [{name: pier}]\nsupplies:\n  - {name: a, volts: 12, watts: 600}\n" + more + "strings:\n"
	for i, s := range strings {
		text += fmt.Sprintf("  - {name: s%d, controller: pier, port: %d, universe: %d, supply: a, %s}\n", i, 1+i, 1+2*i, s)
	}
	return text
}

// TestEveryFindingIsTold walks each kind of finding through all that tells of it: the text, the JSON,
// the controller's sheet and the report have its place, its figure and a mend that was worked out.
func TestEveryFindingIsTold(t *testing.T) {
	const pitch18 = "pitch: {awg: 18, millimetres: 100}, "
	const boxes = "feeders:\n  - {name: near, supply: a, awg: 14, metres: 2, fuse_amps: 15}\n  - {name: far, supply: a, awg: 12, metres: 2, fuse_amps: 15}\n"
	for kind, tt := range map[string]struct {
		plan  string
		place string // of the finding
		what  string // with its figure, by hand, or as ngspice has it in the tests of config/protection
		mend  string
	}{
		"wire": {pier("", "pixels: 150, amps_per_pixel: 0.03, "+pitch18+"feeds: [{at: start, awg: 18, metres: 1, fuse_amps: 7}, {at: 50, awg: 18, metres: 3, fuse_amps: 7}, {at: 100, awg: 18, metres: 6, fuse_amps: 7}]"),
			"pitch ahead of pixel 101", `\(V\+\) can carry 14.\d\d A while a fault at pixel \d+ opens no fuse`, `^fuses of at most 3 A on its feeds`},
		"jumper": {pier("", "pixels: 50, amps_per_pixel: 0.02, pitch: {awg: 16, millimetres: 50}, jumpers: [{after: 25, awg: 18, metres: 1}], feeds: [{at: start, awg: 16, metres: 1, fuse_amps: 5}, {at: 10, awg: 16, metres: 1, fuse_amps: 5}]"),
			"jumper after pixel 25", `\(V\+\) can carry 9.17 A while a fault at pixel \d+ opens no fuse; it may carry what a fuse of 7 A lets through`, `^fuses of at most 4 A on its feeds`},
		"lead": {pier("", "pixels: 160, amps_per_pixel: 0.06, pitch: {awg: 14, millimetres: 100}, cut_positive_after: [80], feeds: [{at: start, awg: 16, metres: 1, fuse_amps: 7}, {at: end, awg: 18, metres: 1, fuse_amps: 7}]"),
			"lead at end", `\(return\) can carry 9.60 A, with the return of the feed at start open`, `^16 AWG for its lead`},
		"feeder": {pier("feeders: [{name: box, supply: a, awg: 18, metres: 1}]\n", "pixels: 100, amps_per_pixel: 0.03, "+pitch18+"feeds: [{at: start, from: box, awg: 18, metres: 1, fuse_amps: 7}, {at: end, from: box, awg: 18, metres: 1, fuse_amps: 7}]"),
			"feeder box", `\(V\+\) can carry 15.\d\d A while a fault`, `^fuses of at most 3 A on its feeds`},
		"connector": {pier("", "pixels: 150, amps_per_pixel: 0.0222, connector_amps: 3, "+pitch18+"feeds: [{at: start, awg: 16, metres: 1, fuse_amps: 5}]"),
			"pitch ahead of pixel 1", `5.50 A while a fault .* connectors may carry what a fuse of 3 A`, `^connectors for 5 A there`},
		"open return": {pier("", "pixels: 160, amps_per_pixel: 0.06, cut_positive_after: [80], "+pitch18+"feeds: [{at: start, awg: 14, metres: 1, fuse_amps: 7}, {at: end, awg: 14, metres: 1, fuse_amps: 7}]"),
			"pitch ahead of pixel 1", `\(return\) can carry 9.60 A, with the return of the feed at end open`, `^16 AWG for its pitch`},
		"supply": {pier("  - {name: small, volts: 12, watts: 60}\n", "pixels: 20, amps_per_pixel: 0.02, "+pitch18+"feeds: [{at: start, supply: small, awg: 18, metres: 1, fuse_amps: 7}]"),
			"feed at start", `supply small gives 5.5 A before it folds back; the 7 A fuse at start can never open`, `^fit a fuse of at most 2 A, or a supply that gives 14 A`},
		"short unseen": {pier("", "pixels: 150, amps_per_pixel: 0.02, "+pitch18+"feeds: [{at: start, awg: 18, metres: 12, fuse_amps: 7}]"),
			"feed at start", `the 7 A fuse at start does not see a short: at pixel 150 it draws 10.61 A, 14 A is needed`, `^a fuse of 5 A or 14 AWG for its lead would see it`},
		"feeder's return": {pier(boxes,
			"pixels: 100, amps_per_pixel: 0.06, pitch: {awg: 12, millimetres: 50}, feeds: [{at: start, from: near, awg: 12, metres: 1, fuse_amps: 10}, {at: end, from: far, awg: 12, metres: 1, fuse_amps: 10}]",
			"pixels: 100, amps_per_pixel: 0.06, pitch: {awg: 12, millimetres: 50}, feeds: [{at: start, from: near, awg: 12, metres: 1, fuse_amps: 10}, {at: end, from: far, awg: 12, metres: 1, fuse_amps: 10}]",
			"pixels: 100, amps_per_pixel: 0.06, pitch: {awg: 12, millimetres: 50}, feeds: [{at: start, from: near, awg: 12, metres: 1, fuse_amps: 10}, {at: end, from: far, awg: 12, metres: 1, fuse_amps: 10}]"),
			"feeder near", `feeder near \(return\) carries 18.00 A at full white of every string while the return of feeder far is open`, `^12 AWG for feeder near`},
		"another string's return": {pier(boxes,
			"pixels: 100, amps_per_pixel: 0.03, "+pitch18+"feeds: [{at: start, from: near, awg: 14, metres: 1, fuse_amps: 5}, {at: end, from: far, awg: 14, metres: 1, fuse_amps: 5}]",
			"pixels: 100, amps_per_pixel: 0.06, pitch: {awg: 14, millimetres: 50}, feeds: [{at: start, from: far, awg: 14, metres: 1, fuse_amps: 10}]"),
			"pitch", `its pitch \(return\) carries \d.\d\d A at full white of every string while the return of feeder far is open`, `^a second return beside that of feeder far`},
		"breaker": {pier("mains: [{name: quay, volts: 120, breaker_amps: 6, curve: D, supplies: [a]}]\n", "pixels: 10, fuse_amps: 1, amps_per_pixel: 0.02, "+pitch18[:len(pitch18)-2]),
			"mains circuit quay", `can take 6.5 A, a breaker of 6 A carries 4.8 A for long`, `^move supplies of 1.7 A to another circuit; to be confirmed by an electrician`},
		"RCD": {pier("mains: [{name: quay, volts: 230, breaker_amps: 16, curve: D, rcd_ma: 10, supplies: [a]}]\n", "pixels: 10, fuse_amps: 1, amps_per_pixel: 0.02, "+pitch18[:len(pitch18)-2]),
			"mains circuit quay", `may leak 3.5 mA together; plan for 2.5 mA on an RCD of 10 mA`, `^share them among 2 circuits`},
		"inrush": {pier("mains: [{name: quay, volts: 230, breaker_amps: 16, curve: B, supplies: [a]}]\n", "pixels: 10, fuse_amps: 1, amps_per_pixel: 0.02, "+pitch18[:len(pitch18)-2]),
			"mains circuit quay", `may draw 60 A for a moment; its breaker may trip from 48 A on`, `^have a breaker of curve C fitted`},
	} {
		t.Run(kind, func(t *testing.T) {
			dir := t.TempDir()
			file := filepath.Join(dir, "plan.yaml")
			sacntest.Write(t, file, tt.plan)
			var answer struct{ Protection protection.Report }
			_, out, _ := call(t, "plan", file, "--format", "json")
			sacntest.JSON(t, out, &answer)
			_, printed, text := call(t, "plan", file)
			told := map[string]string{"text": text}
			for what, args := range map[string][]string{
				"sheet": {"plan", file, "--sheet", "pier"}, "sheet on paper": {"plan", file, "--sheet", "pier", "--format", "html"},
				"report": {"report", file, "--state", dir}, "report on paper": {"report", file, "--state", dir, "--format", "html"},
			} {
				_, told[what], _ = call(t, args...)
			}
			found := false
			for _, f := range answer.Protection.Findings {
				t.Logf("%s: %s; %s", f.Place, f.What, f.Mend)
				is := f.Place == tt.place && regexp.MustCompile(tt.what).MatchString(f.What)
				if found = found || is; is && !regexp.MustCompile(tt.mend).MatchString(f.Mend) {
					t.Errorf("what mends it: %q, want %q", f.Mend, tt.mend)
				}
				if f.Amps <= 0 || f.Limit <= 0 || f.Place == "" || f.Mend == "" {
					t.Errorf("without place, figure or mend: %+v", f)
				}
				for where, said := range told {
					want := f.Ladder()
					if where == "text" {
						want = f.What + "; " + f.Mend
					}
					said = strings.NewReplacer("&#43;", "+", "&#39;", "'").Replace(said)
					if !strings.Contains(said, want) {
						t.Errorf("%s does not say %q:\n%s", where, want, said)
					}
				}
			}
			if !found {
				t.Errorf("%q at %q is not found: %+v", tt.what, tt.place, answer.Protection.Findings)
			}
			for _, f := range answer.Protection.Twice {
				for where, said := range told {
					if where != "text" && !strings.Contains(strings.NewReplacer("&#43;", "+", "&#39;", "'").Replace(said), f.Ladder()) {
						t.Errorf("%s does not say %q:\n%s", where, f.Ladder(), said)
					}
				}
				if !strings.Contains(printed, f.What+". To mend it: "+f.Mend) {
					t.Errorf("the text does not say %q", f.What)
				}
			}
		})
	}
}

// No level that a program sets is safe, and none is called so: it is the level within the fuses.
func TestNoLevelIsCalledSafe(t *testing.T) {
	safe := regexp.MustCompile(`(?i)safe[^.]{0,20}level|level[^.]{0,20}safe|safe_`)
	street := plans + "street.yaml"
	for _, args := range []string{"plan --demo", "plan " + street, "plan " + street + " --format json", "plan " + street + " --patterns", "plan " + street + " --patterns --format json",
		"plan " + street + " --sheet boathouse", "plan " + street + " --propose", "help", "help plan", "help patterns", "help evidence", "diagnose"} {
		code, out, talk := call(t, strings.Fields(args)...)
		if said := safe.FindString(out + talk); said != "" || out == "" {
			t.Errorf("%s (exit code %d, %d octets) says %q", args, code, len(out), said)
		}
	}
}
