package main

import (
	"encoding/json"
	"os"
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
	rules := `table ip yard { chain out { type filter hook output priority 0; ip daddr ` + sacntest.FarAddr4 + ` udp dport 5568 drop; }; }`
	if out, err := pair.Command(t.Context(), pair.Near, "nft", rules).CombinedOutput(); err != nil {
		t.Fatalf("nft: %v: %s", err, out)
	}
	state := t.TempDir()
	prog := pair.Start(t, pair.Near, "burn-in", burnInPlan, "--no-scan", "--state", state, "--for", "6s")
	if code := prog.Wait(60 * time.Second); code != 0 {
		t.Fatalf("exit %d: %s", code, prog.Stderr())
	}
	text, err := os.ReadFile(filepath.Join(state, "burn-in.json"))
	if err != nil {
		t.Fatal(err)
	}
	var kept struct {
		Strings map[string]struct {
			Served  float64 `json:"served_seconds"`
			Refused uint64  `json:"packets_refused"`
		} `json:"strings"`
	}
	if err := json.Unmarshal(text, &kept); err != nil {
		t.Fatal(err)
	}
	if s := kept.Strings["gable"]; s.Served < 2 || s.Refused > 0 {
		t.Errorf("gable: %+v; its universe went out", s)
	}
	if s := kept.Strings["roof"]; s.Served > 0.1 || s.Refused < 80 {
		t.Errorf("roof: %+v; nothing of it went out", s)
	}
}
