package burnin

import (
	"encoding/json"
	"log/slog"
	"os"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/session"
	"yardproof/cmd/yardproof/internal/state"
)

// FuzzProgress: whatever is in the file, the burn-in begins, and a file that is
// no progress is still there under another name.
func FuzzProgress(f *testing.F) {
	f.Add([]byte(`{"strings": {"roof": {"served_seconds": 12.5}}, "cycle_position_seconds": 3}`))
	f.Add([]byte(`{"cycle_position_seconds": -3}`))
	f.Add([]byte(`{"strings": null, "programme": "x"`))
	f.Fuzz(func(t *testing.T, text []byte) {
		dir, err := state.Open(t.TempDir())
		if err != nil {
			t.Fatal(err)
		}
		defer dir.Close()
		if err := os.WriteFile(dir.Path(file), text, 0o600); err != nil {
			t.Fatal(err)
		}
		plan, b := load(t, shortProgramme)
		burn, err := New(Config{Session: session.New(plan, b), State: dir, Rate: rate, Log: slog.New(slog.DiscardHandler), Read: func() Reading { return Reading{} }, Record: func(l record.Line) (record.Line, error) { return l, nil }})
		if err != nil {
			t.Fatal(err)
		}
		burn.begin(time.Now())
		burn.tick(time.Now())
		if !json.Valid(text) {
			if kept, err := os.ReadFile(dir.Path(file + ".unreadable")); err != nil || string(kept) != string(text) {
				t.Errorf("the unreadable file is lost: %v", err)
			}
		}
	})
}
