package transmit

import (
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"time"

	"yardproof/cmd/yardproof/internal/burnin"
	"yardproof/cmd/yardproof/internal/opening"
	"yardproof/sacn/source"
)

// openingFacts are what the sheet for opening night is made of while we send.
func (t *Transmitter) openingFacts() opening.Facts {
	now, around := t.session.Snapshot(), t.around.Snapshot()
	f := opening.Facts{
		Plan: now.Plan, Budget: now.Budget, Standings: t.record.Standings(), Sending: opening.Universes(now.Plan), Now: time.Now(), Zone: time.Local,
		Seen: t.record.Seen, Burned: burnin.Kept(t.state.Path("."), now.Plan),
	}
	if _, ok := around.Contested(); ok {
		f.Heard = &opening.Heard{Where: t.cfg.Interface, Others: around.Watch.Competing}
	}
	return f
}

// beginning takes away word of an end: should this one be killed, there is none.
func (t *Transmitter) beginning() {
	if err := os.Remove(t.state.Path(opening.EndedFile)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		t.cfg.Log.Warn("how the transmitter ended before is still written down", "error", err)
	}
}

// ended leaves word of how we let go.
func (t *Transmitter) ended(s source.Stats, streams []source.StreamStats, says string) {
	text, err := json.Marshal(opening.Ended{
		Time: time.Now(), Universes: opening.Universes(t.session.Snapshot().Plan), Terminated: s.Packets > 0 && s.Link == source.LinkUp && len(untold(streams)) == 0, Says: says,
	})
	if err == nil {
		err = t.state.Write(opening.EndedFile, append(text, '\n'))
	}
	if err != nil {
		t.cfg.Log.Warn("how the transmitter ended is not written down", "error", err)
	}
}
