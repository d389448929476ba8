package web

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"time"
)

// Times of a proposal.
const (
	proposalTime = time.Minute // it may be looked for, whoever does
	proposalTold = time.Second // how often the page is told how far it is
)

// proposalTelling is a line of what is told of a proposal.
type proposalTelling struct {
	Is       string `json:"is"` // looking, done, failed
	Says     string `json:"says,omitempty"`
	Problem  string `json:"problem,omitempty"`
	Proposal any    `json:"proposal,omitempty"`
}

// postProposal works out where the plan's strings should be fed. It tells how far it is
// line by line, and at last what it found. One at a time; who goes away ends it.
func (s *Server) postProposal(w http.ResponseWriter, r *http.Request, in struct {
	LevelPercent *float64 `json:"level_percent"`
	LoseAFeed    bool     `json:"lose_a_feed"`
}) error {
	level := 1.0
	if in.LevelPercent != nil {
		level = *in.LevelPercent / 100
	}
	switch {
	case s.cfg.Propose == nil:
		return problemf(http.StatusNotFound, "Nothing is proposed here.")
	case !(level > 0 && level <= 1):
		return problemf(http.StatusBadRequest, "The level is more than 0 %% and at most 100 %%.")
	case !s.proposing.TryLock():
		return problemf(http.StatusConflict, "Another proposal is being worked out. Wait until it is done, then try again.")
	}
	ctx, cancel := context.WithTimeout(r.Context(), proposalTime)
	defer cancel()
	says, told := make(chan string, 1), make(chan proposalTelling, 1)
	go func() {
		told <- s.propose(ctx, level, in.LoseAFeed, func(words string) {
			select {
			case <-says: // what nobody has heard yet is old
			default:
			}
			says <- words
		})
	}()
	rc := http.NewResponseController(w)
	rc.SetReadDeadline(time.Time{}) // the client says no more; the next write shows whether it is there
	w.Header().Set("Content-Type", "application/x-ndjson")
	w.WriteHeader(http.StatusOK)
	now := proposalTelling{Is: "looking"}
	tell := func(t proposalTelling, within time.Duration) error {
		line, err := json.Marshal(t) // has no line breaks
		if err != nil {
			return err
		}
		rc.SetWriteDeadline(time.Now().Add(within))
		if _, err := w.Write(append(line, '\n')); err != nil {
			return err
		}
		if err := rc.Flush(); err != nil && !errors.Is(err, http.ErrNotSupported) {
			return err
		}
		return nil
	}
	tick := time.NewTicker(proposalTold)
	defer tick.Stop()
	for {
		select {
		case t := <-told:
			return gone(tell(t, requestTimeout))
		case now.Says = <-says:
			continue
		case <-tick.C:
			if _, known := s.phone(r); !known && !s.cfg.Loopback {
				return nil
			}
			if err := tell(now, eventTimeout); err != nil {
				return gone(err)
			}
		case <-r.Context().Done():
			return nil
		}
	}
}

// propose works out a proposal and lets the next one begin.
func (s *Server) propose(ctx context.Context, level float64, loseOne bool, says func(string)) proposalTelling {
	defer s.proposing.Unlock()
	p, err := s.cfg.Propose(ctx, level, loseOne, says)
	if err != nil {
		return proposalTelling{Is: "failed", Problem: sentence(err) + "."}
	}
	return proposalTelling{Is: "done", Proposal: p}
}
