package listener

import (
	"net/netip"
	"slices"

	"yardproof/sacn"
)

// Bounds on what is remembered of conflicts.
const (
	maxConflicts = 4096
	maxParties   = 16
)

// conflict remembers that sources competed for a universe.
type conflict struct {
	parties []party
	winner  sacn.CID
	tie     bool
	sameCID bool
}

type party struct {
	cid      sacn.CID
	name     sacn.Name
	address  netip.Addr
	priority uint8
}

// Party is a source that competes for a universe.
type Party struct {
	CID      sacn.CID
	Name     string // clean
	Address  netip.Addr
	Priority uint8
}

// Conflict is a universe on which two or more sources were live at once.
// Sources that send for visualisers only (Preview_Data) do not compete.
type Conflict struct {
	Universe uint16
	Sources  []Party  // at most 16, in order of appearance
	Winner   sacn.CID // of the highest priority (6.2.3); zero for a tie
	Tie      bool     // the highest priority is shared: what a receiver does then is its own affair
	SameCID  bool     // two senders used one CID: receivers take them for one, and discard packets of either
	Live     int      // sources that compete now; 0: it is over
}

// Active reports whether they competed at the time of the snapshot.
func (c Conflict) Active() bool { return c.Live > 0 }

// contend looks who competes for a universe after one of its streams has
// begun or changed its priority.
func (t *Tracker) contend(u *universe, now moment) {
	if len(u.streams) < 2 {
		return
	}
	t.contenders = u.contenders(t.contenders[:0], now)
	if len(t.contenders) < 2 {
		return
	}
	if u.conflict == nil {
		if t.conflicts == maxConflicts {
			return
		}
		t.conflicts++
		u.conflict = &conflict{}
	}
	c := u.conflict
	c.winner, c.tie = winner(t.contenders)
	c.sameCID = c.sameCID || t.sameCID(t.contenders)
	for _, s := range t.contenders {
		p := party{cid: s.source.cid, name: s.source.name, address: s.source.address(), priority: s.priority}
		if i := slices.IndexFunc(c.parties, func(q party) bool { return q.cid == p.cid && q.address == p.address }); i >= 0 {
			c.parties[i] = p
		} else if len(c.parties) < maxParties {
			c.parties = append(c.parties, p)
		}
	}
}

// contenders appends the streams that a receiver has to choose from.
func (u *universe) contenders(live []*stream, now moment) []*stream {
	for _, s := range u.streams {
		if s.live(now) && !s.gone && s.options&sacn.Preview == 0 {
			live = append(live, s)
		}
	}
	return live
}

// sameCID reports whether two streams have one CID.
func (t *Tracker) sameCID(streams []*stream) bool {
	clear(t.sharing)
	for _, s := range streams {
		if t.sharing[s.source.cid] {
			return true
		}
		t.sharing[s.source.cid] = s.source.kin(t)
	}
	return false
}

// winner is the source of the highest priority (6.2.3).
func winner(contenders []*stream) (cid sacn.CID, tie bool) {
	best := -1
	for _, s := range contenders {
		switch p := int(s.priority); {
		case p > best:
			best, cid, tie = p, s.source.cid, false
		case p == best:
			tie = true
		}
	}
	if tie {
		cid = sacn.CID{}
	}
	return cid, tie
}

func (u *universe) snapshot(number uint16, now moment) Conflict {
	c := u.conflict
	out := Conflict{Universe: number, Winner: c.winner, Tie: c.tie, SameCID: c.sameCID}
	for _, p := range c.parties {
		out.Sources = append(out.Sources, Party{CID: p.cid, Name: Clean(p.name.String()), Address: p.address, Priority: p.priority})
	}
	if live := u.contenders(nil, now); len(live) > 1 {
		out.Live = len(live)
		out.Winner, out.Tie = winner(live)
	}
	return out
}
