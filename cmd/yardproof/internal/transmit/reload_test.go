package transmit

import (
	"bytes"
	"context"
	"log/slog"
	"strings"
	"testing"

	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/cmd/yardproof/internal/session"
	"yardproof/cmd/yardproof/internal/state"
	"yardproof/cmd/yardproof/internal/surroundings"
	"yardproof/config"
	"yardproof/sacn"
	"yardproof/sacn/source"
)

// newTransmitter is one with a plan on the loopback interface at 100 Hz, whose
// frames are never sent. What load returns, a reload finds.
func newTransmitter(t *testing.T, first uint8, load func() string) (*Transmitter, *bytes.Buffer) {
	t.Helper()
	said := new(bytes.Buffer)
	log := slog.New(slog.NewTextHandler(said, nil))
	tr := &Transmitter{cfg: Config{Talk: said, Log: log, Load: func() (planfile.Checked, error) {
		return planfile.Check(config.Load("plan.yaml", strings.NewReader(load()))), nil
	}}}
	c, err := tr.cfg.Load()
	if err != nil {
		t.Fatal(err)
	}
	tr.plan, tr.session = c.Plan, session.New(c.Plan, c.Budget)
	if tr.around, err = surroundings.New(surroundings.Config{Log: log}); err != nil {
		t.Fatal(err)
	}
	if tr.state, err = state.Open(t.TempDir()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { tr.state.Close() })
	name, _ := sacn.NewName("reload")
	tr.source, err = source.Open(source.Config{
		CID: sacn.NewCID(), Name: name, Interface: loopbackName(), TTL: 1, Rate: 100, FirstSequence: first, Log: log,
	}, tr.session.Scene())
	if err != nil {
		t.Fatal(err)
	}
	return tr, said
}

// A plan that is without error but cannot be sent at the rate that was asked for
// is refused as a whole: a session with the new plan beside a source with the old
// one would hold the last frame and say that it is dark.
func TestReloadOfWhatCannotBeSent(t *testing.T) {
	const plan = "network: {slots: used}\nstrings: [{name: a, universe: 1, pixels: 20}]\n"
	text := plan
	tr, said := newTransmitter(t, 0, func() string { return text })
	before := tr.session.Snapshot().Plan
	text = strings.Replace(plan, "20", "170", 1)
	tr.reloadPlan()
	if now := tr.session.Snapshot().Plan; now != before {
		t.Error("the session took a plan that the source refused")
	}
	if !strings.Contains(said.String(), "the old one stays") || !strings.Contains(said.String(), "above 44.3 frames a second") {
		t.Errorf("it said %s", said)
	}
	text = strings.Replace(plan, "20", "30", 1)
	tr.reloadPlan()
	if now := tr.session.Snapshot().Plan; now == before {
		t.Errorf("a plan that can be sent was not taken: %s", said)
	}
}

// A run that is killed within its first second leaves a number to go on from.
func TestSequenceIsSavedAtOnce(t *testing.T) {
	tr, _ := newTransmitter(t, 200, func() string { return "strings: [{name: a, universe: 1, pixels: 20}]\nnetwork: {slots: used}\n" })
	ended, end := context.WithCancel(t.Context())
	end()
	if err := tr.saveSequence(ended); err != nil {
		t.Fatal(err)
	}
	// Up to 44 frames and 6 of ending have gone out since, from 200 on.
	next := tr.state.FirstSequence()
	for sent := range 50 {
		if last := uint8(200 + sent); !sacn.AcceptSequence(last, next) || sacn.SequenceDelta(last, next) < 0 {
			t.Fatalf("after %d frames from 200 on the next run begins at %d", sent+1, next)
		}
	}
}

func loopbackName() string {
	all, _ := interfaces() // none: opening the source tells
	for _, l := range all {
		if l.loopback {
			return l.name
		}
	}
	return ""
}
