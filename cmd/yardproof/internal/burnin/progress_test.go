package burnin

import (
	"encoding/json"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"testing"
	"testing/synctest"
	"time"

	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/session"
	"yardproof/cmd/yardproof/internal/state"
	"yardproof/sacn/sacntest"
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
		sacntest.Write(t, dir.Path(file), text)
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

// A file that says nothing is told of and moved aside; a place in the cycle that cannot
// be is its beginning, or the last step would go on for years.
func TestKeptThatCannotBe(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		y := newYard(t, shortProgramme)
		path := filepath.Join(y.path, file)
		put := func(text string) {
			sacntest.Write(t, path, text)
		}
		put("null")
		y.start(nil)
		if text, err := os.ReadFile(path + ".unreadable"); err != nil || string(text) != "null" {
			t.Errorf("what was there is lost: %q, %v", text, err)
		}
		programme := y.b.Steps()
		y.end()
		put(fmt.Sprintf(`{"started": "2026-11-20T12:00:00Z", "programme": %q, "cycle_position_seconds": 9e8}`, programme))
		y.start(nil)
		defer y.end()
		pass(2 * time.Second)
		if r := y.b.Report(); time.Duration(r.Position) > time.Minute || r.Step.Pattern != "walk" {
			t.Errorf("%v into the cycle, shows %s", time.Duration(r.Position), r.Step.Pattern)
		}
	})
}
