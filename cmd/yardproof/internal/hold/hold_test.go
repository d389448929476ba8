package hold

import (
	"context"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/session"
	"yardproof/cmd/yardproof/internal/state"
	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/sacn/sacntest"
)

func open(t *testing.T, dir *state.Dir) (*session.Session, *Keeper) {
	t.Helper()
	plan, _ := config.Demo()
	s := session.New(plan, budget.New(plan))
	return s, Open(dir, s, slog.New(slog.DiscardHandler))
}

func openDir(t *testing.T) *state.Dir {
	t.Helper()
	dir, err := state.Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { dir.Close() })
	return dir
}

// leave leaves the word that lifts a hold.
func leave(t *testing.T, dir *state.Dir) {
	t.Helper()
	if err := LeaveResume(dir.Path(".")); err != nil {
		t.Fatal(err)
	}
}

// running keeps until the test ends, or stop is called.
func running(t *testing.T, k *Keeper) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	over := make(chan error, 1)
	go func() { over <- k.Run(ctx) }()
	return func() {
		cancel()
		if err := <-over; err != nil {
			t.Error(err)
		}
	}
}

func TestHoldOutlastsTheProgram(t *testing.T) {
	dir := openDir(t)
	s, k := open(t, dir)
	stop := running(t, k)
	s.HoldDark("the phone of the bandstand", time.Now())
	if !k.Kept(t.Context(), 5*time.Second) {
		t.Fatal("the hold is not on disk")
	}
	// What a kill -9 leaves is what the next program finds.
	s2, k2 := open(t, dir)
	if h := s2.Snapshot().Hold; h == nil || h.By != "the phone of the bandstand" || !h.Dark {
		t.Fatalf("held after a restart: %+v", h)
	}
	stop()
	defer running(t, k2)()
	if s2.Resume() == nil || !k2.Kept(t.Context(), 5*time.Second) {
		t.Error("the hold is not lifted on disk")
	}
	if s3, _ := open(t, dir); s3.Snapshot().Hold != nil {
		t.Errorf("a lifted hold came back: %+v", s3.Snapshot().Hold)
	}
}

func TestResumeFromAShell(t *testing.T) {
	dir := openDir(t)
	leave(t, dir) // before there is anything to lift
	s, k := open(t, dir)
	if _, err := os.Stat(dir.Path(resumeFile)); err == nil {
		t.Error("a word that lifts nothing stays, for a later hold")
	}
	defer running(t, k)()
	s.HoldDark("a phone", time.Now().Add(-time.Minute))
	if !k.Kept(t.Context(), 5*time.Second) {
		t.Fatal("not kept")
	}
	if h := Read(dir.Path(".")); h == nil || h.By != "a phone" {
		t.Errorf("a shell reads %+v", h)
	}
	leave(t, dir)
	sacntest.Eventually(t, 10*time.Second, "the word taken up", func() bool { return s.Snapshot().Hold == nil })
}

// TestOldWord: a word about an earlier hold does not lift a later one.
func TestOldWord(t *testing.T) {
	dir := openDir(t)
	s, k := open(t, dir)
	leave(t, dir)
	past := time.Now().Add(-time.Minute)
	if err := os.Chtimes(dir.Path(resumeFile), past, past); err != nil {
		t.Fatal(err)
	}
	s.HoldDark("a phone", time.Now())
	k.collect()
	if s.Snapshot().Hold == nil {
		t.Error("lifted by a word that is older than the hold")
	}
}

// TestHoldOfTheFuture: the clock was set back and the program started again; a word lifts
// the hold all the same.
func TestHoldOfTheFuture(t *testing.T) {
	dir := openDir(t)
	s, k := open(t, dir)
	s.Restore(session.Hold{By: "a phone", Since: time.Now().Add(time.Hour).Round(0), Dark: true})
	leave(t, dir)
	k.collect()
	if s.Snapshot().Hold != nil {
		t.Error("a word does not lift it before the clock is where it was")
	}
}

func TestUnreadableNoteIsAHold(t *testing.T) {
	for _, text := range []string{"", "null", "{", "[]", `{"by":"x"}`, strings.Repeat("a", 1000)} {
		dir := openDir(t)
		sacntest.Write(t, filepath.Join(dir.Path("."), file), text)
		if s, _ := open(t, dir); s.Snapshot().Hold == nil {
			t.Errorf("%q: not held", text)
		}
	}
}

// TestStalledDiskDelaysNobody: the answer says that it is not kept, in time.
func TestStalledDiskDelaysNobody(t *testing.T) {
	dir := openDir(t)
	s, k := open(t, dir) // nobody runs the keeper: the slowest disk there is
	s.HoldDark("a phone", time.Now())
	if k.Kept(t.Context(), 20*time.Millisecond) {
		t.Error("kept, by nobody")
	}
}
