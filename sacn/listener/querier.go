package listener

import (
	"context"
	"fmt"
	"net"
	"sync"
	"sync/atomic"
	"time"
)

// A switch that snoops on IGMP forwards a group only to ports that reported it,
// and forgets a report after the Group Membership Interval: 260 s by the
// defaults of RFC 3376 section 8.4. Hosts repeat their reports when a querier
// asks, every 125 s (8.2). Without one, streams die after about four minutes.
// MLD does the same for IPv6 (RFC 3810 sections 9.2 and 9.4).
const (
	queryInterval      = 125 * time.Second
	membershipInterval = 260 * time.Second
)

// QuerierState is what was heard of IGMP or MLD queries.
type QuerierState struct {
	Known   bool      // queries can be heard: a raw socket was allowed
	Reason  string    // why not
	Since   time.Time // the groups were joined then, on the interface of now
	Queries uint64
}

// querier listens for membership queries.
type querier struct {
	ifindex atomic.Int64 // of the interface

	conn net.PacketConn                         // nil: not allowed
	read func(b []byte) (query bool, err error) // waits for a message

	mu sync.Mutex
	st QuerierState
}

// run counts queries until ctx ends.
func (q *querier) run(ctx context.Context) {
	if q.conn == nil {
		return
	}
	defer q.conn.Close()
	stop := context.AfterFunc(ctx, func() { q.conn.SetReadDeadline(time.Unix(1, 0)) })
	defer stop()
	b := make([]byte, 1500)
	for {
		query, err := q.read(b)
		if err != nil {
			if ctx.Err() == nil {
				q.mu.Lock()
				q.st.Known, q.st.Reason = false, err.Error()
				q.mu.Unlock()
			}
			return
		}
		if query {
			q.mu.Lock()
			q.st.Queries++
			q.mu.Unlock()
		}
	}
}

// move makes it listen on another interface, on which the groups were joined now.
func (q *querier) move(ifi *net.Interface) {
	q.ifindex.Store(int64(ifi.Index))
	q.mu.Lock()
	defer q.mu.Unlock()
	q.st.Since = time.Now()
}

func (q *querier) state() QuerierState {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.st
}

// SnoopingSuspected says in a sentence that streams died as they do on a switch
// that snoops without a querier, or nothing.
func (r *Report) SnoopingSuspected() string {
	if !r.Querier.Known || r.Querier.Queries > 0 || r.At.Sub(r.Querier.Since) < membershipInterval {
		return ""
	}
	died, alive := 0, 0
	for _, src := range r.Sources {
		for _, s := range src.Streams {
			// Reports were sent when the groups were joined; switches differ in
			// how long they remember.
			held := s.Last.Sub(r.Querier.Since)
			switch {
			case s.Live:
				alive++
			case !s.Terminated && held > queryInterval && held < membershipInterval+queryInterval:
				died++
			}
		}
	}
	if died == 0 {
		return ""
	}
	others := "nothing else is alive, so the sources may also have stopped"
	if alive > 0 {
		others = fmt.Sprintf("%d others are alive", alive)
	}
	return fmt.Sprintf("%d streams died some four minutes after they were joined, no IGMP query was heard and %s: the switch may snoop without a querier; enable its querier, or switch its snooping off", died, others)
}
