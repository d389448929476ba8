package main

import (
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"

	"yardproof/cmd/yardproof/internal/diagnose"
	"yardproof/cmd/yardproof/internal/record"
)

// mendedBefore is a state directory whose record says that broken data was put right.
func mendedBefore(t *testing.T) string {
	t.Helper()
	return recordOf(t,
		record.Line{Kind: record.Note, String: "gable-right", Seen: "mended=broken-data@41"},
		record.Line{Kind: record.Proof, String: "gable-right", Verdict: record.Good})
}

func TestDiagnose(t *testing.T) {
	plan := filepath.Join("..", "..", "config", "demo.yaml")
	for _, tt := range []struct {
		args string
		code int
		says string // on stdout for 0 and 1, on stderr for 2
	}{
		{"", exitFine, "20  Everything stutters"},
		{"--seen GRB --port-set RGB", exitFound, "On the port: GRB\n"},
		{"--seen GRB --port-set gbr", exitFound, "On the port: RBG, then BGR\n"},
		{"--seen green,red,blue --string gable-ridge " + plan, exitFine, "the order is right"},
		{"--runs RR.GGG.BBBB", exitFine, "the order is right"},
		{"--runs BBBB.GGG.RR.....BBBB", exitFound, "counts from the far end"},
		{"--runs RGB.GBR.RB", exitFound, "Three and four channels are mixed up"},
		{"--last-lit 60 --string quay-rail-west " + plan, exitFound, "jumper of 4 m"},
		{"--last-lit 12", exitFound, "Replace pixel 13 first, then pixel 12"},
		{"--last-lit 0", exitFound, "known-good short string"},
		{"--half 0,101", exitFound, "half with pixel 50"},
		{"--half 41,42 --pixels 50", exitFound, "Replace pixel 42 first"},
		{"--half 100,101", exitFound, "only 100 pixels, there is no break"}, // where --half 0,101 ends when every pixel is good
		{"--dark quay-rail-west,quay-rail-east " + plan, exitFound, "supply boathouse-a"},
		{"--dark lighthouse-turn-2 " + plan, exitFound, "--string lighthouse-turn-2 --last-lit 0"}, // 3 and 4 behind it work
		{"--answered gable-left=gable-right,gable-right=gable-left " + plan, exitFound, "gable-right: controller: boathouse, port: 3, universe: 21, channel: 1"},
		{"--amps 3.31 --expected 3.75 --amps-per-pixel 0.055", exitFound, "too low by about 8 pixels (give or take 4)"},
		{"--amps 3.7 --expected 3.75", exitFine, "alike"},
		{"--amps 1.63 --feed end --string quay-rail-west " + plan, exitFound, "at end of quay-rail-west"},
		{"--amps 9 --string quay-rail-west " + plan, exitFound, "too high by"},
		{"--volts supply=12.3,1=11.9,50=10.6 --string gable-left --level 80% " + plan, exitFound, "Read the volts at pixel 25"},
		{"--batch --state " + t.TempDir() + " " + plan, exitFine, "No good proof in the record"},
		{"--batch", exitUsage, "needs the plan"},
		{"--look white=dark-tail@12 --string gable-left --state " + mendedBefore(t) + " " + plan, exitFound, "in this yard before"},
		{"--scan --read dark=12 --string gable-left " + plan, exitFine, "Light pixels 1 to"},
		{"--scan --string gable-left " + plan, exitFine, "Show dark."}, // nobody answers
		{"--scan --read 12 --string gable-left " + plan, exitUsage, "as in 1-20=11.84"},
		{"--scan --read 9-90=11 --string gable-left " + plan, exitUsage, "no block between 1 and 50"},
		{"--read dark=12", exitUsage, "for --scan"},
		{"--look start --string gable-left " + plan, exitFine, "--look white= and one of fine"},
		{"--look white=dark-pixel@20 --look ends=dark-pixel@20 --look slots=fine --string gable-left " + plan, exitFound, "pixel 21 is dead and hands the data on"},
		{"--look white=dark-tail@20 --look volts@21=0.02 --string gable-left " + plan, exitFound, "V+ or return is broken between pixels 20 and 21"},
		{"--look amps@start=0.05/0.05 --look return@start@1-20=0.05/0.9 --string gable-left " + plan, exitFound, "Most likely causes first"},
		{"--look white=dark-pixel@20 --look mended=a-dead-pixel@21 --string gable-left " + plan, exitFine, "Nothing has been looked at since that was put right."},
		{"--look mended=the-weather --string gable-left " + plan, exitUsage, "no cause that can be put right"},
		{"--look mended=a-dead-pixel@end --string gable-left " + plan, exitUsage, "no pixel and no feed"},
		{"--look white=dark-tail --string gable-left " + plan, exitUsage, "needs the last good pixel"},
		{"--look white=purple --string gable-left " + plan, exitUsage, "nothing that is seen there"},
		{"--look white --string gable-left " + plan, exitUsage, "is not understood"},
		{"--look amps@end=1 --string gable-left " + plan, exitUsage, "no feed at"},
		{"--look white=fine", exitUsage, "needs the plan"},
		{"--symptom candy", exitFine, "12  Candy"},
		{"--symptom 13", exitFine, "Blue from 171"},
		{"--last-lit 1", exitFound, "Replace pixel 2 first, then pixel 1"},
		{"--last-lit 0 --string gable-left " + plan, exitFound, "Look at its plug: controller boathouse, port"},

		{"--seen GRX", exitUsage, "is not a colour"},
		{"--seen GRB --half 1,2", exitUsage, "one at a time"},
		{"--dark gable-left", exitUsage, "needs the plan"},
		{"--dark gable " + plan, exitUsage, "it can be gable-left"},
		{"--string gable-left", exitUsage, "needs the plan"},
		{"--string gable " + plan, exitUsage, "no string"},
		{"--half 7", exitUsage, "--half 0,51"},
		{"--half 7,7", exitUsage, "must come first"},
		{"--volts supply=12.1", exitUsage, "volts need the plan"},
		{"--volts supply=12,51=11 --string gable-left " + plan, exitUsage, "no pixel 51"},
		{"--volts 1=11 --level 0% --string gable-left " + plan, exitUsage, "--level"},
		{"--amps 1 --feed end --string gable-left " + plan, exitUsage, "it has start"},
		{"--volts 12.1", exitUsage, "supply=12.1"},
		{"--volts 0=12.1", exitUsage, "pixel's number"},
		{"--amps 3", exitUsage, "compare with"},
		{"--tail dark", exitUsage, "nothing is asked"},
		{"--string gable-left " + plan, exitUsage, "nothing is asked"},
		{"--amps 3 --expected 4 --meter loud", exitUsage, "3% + 0.10 A"},
		{"--symptom zebra", exitUsage, "the whole table"},
		{"--symptom 24", exitUsage, "from 1 to 23"},
		{"--answered gable-left " + plan, exitUsage, "asked to light"},
		{"--format xml", exitUsage, "text or json"},
		{"a b", exitUsage, "unexpected argument"},
	} {
		t.Run(tt.args, func(t *testing.T) {
			code, out, errs := call(t, append([]string{"diagnose"}, strings.Fields(tt.args)...)...)
			said := out
			if tt.code == exitUsage {
				said = errs
			}
			if code != tt.code || !strings.Contains(said, tt.says) {
				t.Errorf("exit %d, want %d; %q is not in:\n%s%s", code, tt.code, tt.says, out, errs)
			}
			if tt.code == exitUsage {
				return
			}
			_, out, _ = call(t, append([]string{"diagnose", "--format", "json"}, strings.Fields(tt.args)...)...)
			var got diagnose.Outcome
			if err := json.Unmarshal([]byte(out), &got); err != nil {
				t.Errorf("JSON: %v in %s", err, out)
			}
			if got.Answer != nil && got.Answer.Wrong != (tt.code == exitFound) {
				t.Errorf("JSON says wrong: %v with exit %d", got.Answer.Wrong, tt.code)
			}
		})
	}
}
