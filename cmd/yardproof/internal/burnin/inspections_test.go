package burnin

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"yardproof/cmd/yardproof/internal/record"
	"yardproof/sacn/sacntest"
)

func TestLooks(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		y := newYard(t, shortProgramme)
		if err := LeaveInspection(y.path, "before the first start"); err != nil {
			t.Fatal(err)
		}
		y.start(nil)
		defer y.end()
		pass(2 * time.Minute)
		if err := y.b.Looked("third from the left is yellow", ""); err != nil {
			t.Fatal(err)
		}
		synctest.Wait()
		if p := y.kept(); p.Looks != 2 || p.LastLook.IsZero() {
			t.Errorf("on disk: %d looks, the last %v", p.Looks, p.LastLook)
		}
		if err := LeaveInspection(y.path, "from a shell"); err != nil {
			t.Fatal(err)
		}
		sacntest.Write(t, y.dir.Path("look-1.json"), "no JSON")
		if p := Kept(y.path, y.session.Snapshot().Plan); p.Looks != 3 || !p.LastLook.Equal(time.Now()) {
			t.Errorf("of the look that waits: %d looks, the last %v", p.Looks, p.LastLook)
		}
		pass(2 * time.Second)
		if p := Kept(y.path, y.session.Snapshot().Plan); p.Looks != 3 {
			t.Errorf("taken up, it makes %d looks", p.Looks)
		}
		var notes []string
		for _, l := range y.lines {
			notes = append(notes, l.Note)
			if l.Kind != record.Inspection {
				t.Errorf("kind %s", l.Kind)
			}
		}
		if got := strings.Join(notes, "; "); got != "before the first start; third from the left is yellow; from a shell" {
			t.Errorf("on record: %s", got)
		}
		if l := y.lines[1]; l.Pattern != "walk" || *l.LevelPercent != 30 {
			t.Errorf("the look is stamped %s %v", l.Pattern, *l.LevelPercent)
		}
		if l := y.lines[0]; l.Pattern != "" || l.LevelPercent != nil {
			t.Errorf("a look before anything was shown is stamped %s", l.Pattern)
		}
		if left, _ := filepath.Glob(y.dir.Path("look-*.json")); len(left) != 0 {
			t.Errorf("left behind: %v", left)
		}
		if _, err := os.Stat(y.dir.Path("look-1.json.unreadable")); err != nil {
			t.Errorf("what could not be read is lost: %v", err)
		}
	})
}
