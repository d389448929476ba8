package main

import (
	"path/filepath"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

// TestRefusedIsNotServed lets the kernel refuse all packets to one controller.
// The string on it is served nothing, whatever else goes out.
func TestRefusedIsNotServed(t *testing.T) {
	t.Parallel() // it waits more than it works
	sacntest.NeedTool(t, "nft")
	pair := sacntest.NewPair(t)
	pair.Run(t, pair.Near, "nft table ip yard { chain out { type filter hook output priority 0; ip daddr "+sacntest.FarAddr4+" udp dport 5568 drop; }; }")
	state := t.TempDir()
	prog := pair.Start(t, pair.Near, "burn-in", burnInPlan, "--no-scan", "--state", state, "--for", "6s")
	prog.Ends(60 * time.Second)
	text := sacntest.Read(t, filepath.Join(state, "burn-in.json"))
	var kept struct {
		Strings map[string]struct {
			Served  float64 `json:"served_seconds"`
			Refused uint64  `json:"packets_refused"`
		} `json:"strings"`
	}
	sacntest.JSON(t, text, &kept)
	if s := kept.Strings["gable"]; s.Served < 2 || s.Refused > 0 {
		t.Errorf("gable: %+v; its universe went out", s)
	}
	if s := kept.Strings["roof"]; s.Served > 0.1 || s.Refused < 80 {
		t.Errorf("roof: %+v; nothing of it went out", s)
	}
}
