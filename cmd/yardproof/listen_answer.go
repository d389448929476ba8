package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/sacn"
	"yardproof/sacn/listener"
)

// listenAnswer is what listen has to say; its JSON keys are a contract.
type listenAnswer struct {
	Interface  string           `json:"interface"`
	Seconds    float64          `json:"seconds"`
	Joined     int              `json:"joined"`
	Sources    []heardSource    `json:"sources"`
	Conflicts  []heardConflict  `json:"conflicts"`
	Malformed  uint64           `json:"malformed"`
	Reasons    map[string]int64 `json:"malformed_reasons"`
	Missing    []missing        `json:"missing"`
	Discovered []discovered     `json:"discovered"`
	LocalDrops *uint64          `json:"local_drops"` // null: the kernel does not tell
	Findings   []string         `json:"findings"`    // what is wrong; none: all was well
	Notes      []string         `json:"notes"`       // what else is worth knowing
}

type heardSource struct {
	CID       string          `json:"cid"`
	Name      string          `json:"name"`
	Address   string          `json:"address"`
	Universes []heardUniverse `json:"universes"`
}

type heardUniverse struct {
	Universe      uint16  `json:"universe"`
	Priority      uint8   `json:"priority"`
	Packets       uint64  `json:"packets"`
	Lost          uint64  `json:"lost"`
	LostLocal     uint64  `json:"lost_maybe_local"`
	OutOfOrder    uint64  `json:"out_of_order"`
	Duplicates    uint64  `json:"duplicates"`
	LossPercent   float64 `json:"loss_percent"`
	RateHz        float64 `json:"rate_hz"`
	JitterMS      float64 `json:"jitter_ms"`
	LongestGapMS  float64 `json:"longest_gap_ms"`
	Outages       uint32  `json:"outages"`
	OutageSeconds float64 `json:"outage_seconds"`
	Restarts      uint64  `json:"restarts"`
	Preview       bool    `json:"preview"`
	Terminated    bool    `json:"terminated"`
	Live          bool    `json:"live"`
	SyncAddress   uint16  `json:"sync_address"`
	Synchronised  bool    `json:"synchronised"`

	rateNow float64
	silent  time.Duration
}

type heardConflict struct {
	Universe uint16   `json:"universe"`
	Sources  []string `json:"sources"` // CIDs
	Winner   *string  `json:"winner"`  // CID; null: a tie
	Active   bool     `json:"active"`

	says string
}

type missing struct {
	Universe uint16   `json:"universe"`
	Strings  []string `json:"strings"`
}

type discovered struct {
	CID       string   `json:"cid"`
	Name      string   `json:"name"`
	Universes []uint16 `json:"universes"`
}

func milliseconds(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }

// answer is what is known now.
func (far *farEnd) answer() *listenAnswer {
	r := far.l.Snapshot()
	a := &listenAnswer{
		Interface: r.Interface, Seconds: round(r.At.Sub(far.begun).Seconds(), 3), Joined: len(far.joined),
		Sources: []heardSource{}, Conflicts: []heardConflict{}, Missing: []missing{}, Discovered: []discovered{}, Findings: []string{}, Notes: []string{},
		Malformed: r.MalformedTotal(), Reasons: make(map[string]int64),
	}
	for reason, n := range r.Malformed {
		a.Reasons[reason] = int64(n)
	}
	if r.Socket.DropsKnown {
		a.LocalDrops = &r.LocalDrops
	}
	heard := new(listener.UniverseSet)
	for i := range r.Sources {
		src := &r.Sources[i]
		if src.Announces {
			a.Discovered = append(a.Discovered, discovered{src.CID.String(), src.Name, src.Announced.List()})
		}
		if len(src.Streams) == 0 {
			continue
		}
		hs := heardSource{CID: src.CID.String(), Name: src.Name, Address: src.Address.String()}
		for j := range src.Streams {
			s := &src.Streams[j]
			heard.Add(s.Universe)
			hs.Universes = append(hs.Universes, heardUniverse{
				Universe: s.Universe, Priority: s.Priority, Packets: s.Packets, Lost: s.Lost, LostLocal: s.LostLocal, OutOfOrder: s.OutOfOrder, Duplicates: s.Duplicates,
				LossPercent: round(s.LossPercent(), 4), RateHz: round(s.MeanRate, 2), JitterMS: milliseconds(s.Jitter), LongestGapMS: milliseconds(s.LongestGap),
				Outages: s.Outages, OutageSeconds: round(s.Outage.Seconds(), 3), Restarts: s.Restarts, Preview: s.Preview, Terminated: s.Terminated, Live: s.Live,
				SyncAddress: s.SyncAddress, Synchronised: s.Synced, rateNow: s.Rate, silent: r.At.Sub(s.Last),
			})
		}
		a.Sources = append(a.Sources, hs)
	}
	for _, c := range r.Conflicts {
		a.Conflicts = append(a.Conflicts, describeConflict(c))
	}
	for _, u := range far.joined {
		if !heard.Has(u) {
			a.Missing = append(a.Missing, missing{u, append([]string{}, far.strings[u]...)})
		}
	}
	a.find(&r)
	a.note(&r, far)
	return a
}

func describeConflict(c listener.Conflict) heardConflict {
	out := heardConflict{Universe: c.Universe, Active: c.Active}
	var who []string
	for _, p := range c.Sources {
		out.Sources = append(out.Sources, p.CID.String())
		who = append(who, fmt.Sprintf("%q at %s (priority %d)", p.Name, p.Address, p.Priority))
	}
	out.says = strings.Join(who, " and ")
	if c.Tie {
		out.says += " tie: what is shown is anybody's guess"
		return out
	}
	cid := c.Winner.String()
	out.Winner = &cid
	for _, p := range c.Sources {
		if p.CID == c.Winner {
			out.says += fmt.Sprintf("; %q wins", p.Name)
		}
	}
	return out
}

// conflictLines are the conflicts, those of the same sources in one line.
func (a *listenAnswer) conflictLines(active bool) []string {
	var says []string
	where := make(map[string][]uint16)
	for _, c := range a.Conflicts {
		if active && !c.Active {
			continue
		}
		if where[c.says] == nil {
			says = append(says, c.says)
		}
		where[c.says] = append(where[c.says], c.Universe)
	}
	for i, s := range says {
		says[i] = universesText(where[s]) + ": " + s
	}
	return says
}

// find says what is wrong, a sentence each.
func (a *listenAnswer) find(r *listener.Report) {
	found := func(format string, args ...any) { a.Findings = append(a.Findings, fmt.Sprintf(format, args...)) }
	var lost, local, received, restarts uint64
	var outages uint32
	lossy, silent, reserved := new(listener.UniverseSet), new(listener.UniverseSet), new(listener.UniverseSet)
	for _, src := range a.Sources {
		for _, u := range src.Universes {
			lost, local, outages, restarts = lost+u.Lost, local+u.LostLocal, outages+u.Outages, restarts+u.Restarts
			received += u.Packets - u.Duplicates
			if u.Lost > 0 {
				lossy.Add(u.Universe)
			}
			if u.Outages > 0 {
				silent.Add(u.Universe)
			}
			if u.Priority > sacn.MaxPriority {
				reserved.Add(u.Universe)
			}
		}
	}
	if lost > 0 {
		found("%d packets of %d were lost (%.3g %%), on %s", lost, received+lost, 100*float64(lost)/float64(received+lost), universesText(lossy.List()))
	}
	if local > 0 {
		found("up to %d of these were dropped by this host itself: local, not the wire", local)
	} else if r.LocalDrops > 0 {
		found("this host itself dropped %d packets: local, not the wire", r.LocalDrops)
	}
	if outages > 0 {
		found("%d times a stream was silent for over 2.5 s, on %s", outages, universesText(silent.List()))
	}
	if restarts > 0 {
		found("%d times a count went back by 20 or more: a source was restarted, or two share a CID", restarts)
	}
	for _, c := range a.conflictLines(false) {
		found("%s", c)
	}
	if n := len(a.Missing); n > 0 {
		var universes []uint16
		var names []string
		for _, m := range a.Missing {
			universes = append(universes, m.Universe)
			for _, name := range m.Strings {
				if !slices.Contains(names, name) {
					names = append(names, name)
				}
			}
		}
		strs := ""
		if len(names) > 0 {
			strs = ", which is " + textout.Some(names, 10)
		}
		found("nothing was heard on %s%s", universesText(universes), strs)
	}
	if a.Malformed > 0 {
		var reasons []string
		for reason, n := range a.Reasons {
			if n > 0 {
				reasons = append(reasons, fmt.Sprintf("%s %d", reason, n))
			}
		}
		slices.Sort(reasons)
		found("%d packets were malformed: %s", a.Malformed, strings.Join(reasons, ", "))
	}
	if list := reserved.List(); len(list) > 0 {
		found("a priority above %d on %s, which E1.31 reserves", sacn.MaxPriority, universesText(list))
	}
	if s := r.SnoopingSuspected(); s != "" {
		found("%s", s)
	}
}

// note says what else is worth knowing.
func (a *listenAnswer) note(r *listener.Report, far *farEnd) {
	note := func(format string, args ...any) { a.Notes = append(a.Notes, fmt.Sprintf(format, args...)) }
	if n := len(far.joined); n >= manyGroups {
		// 704 octets of Ethernet a packet: 638 of payload, 28 of headers, 38 of frame, preamble and gap.
		note("%d groups were joined, so the network sends all of them to this port: up to %.0f Mb/s at 40 Hz", n, float64(n)*704*8*40/1e6)
	}
	if s := r.Socket; s.DropsKnown && s.Buffer < s.Needed {
		note("the receive buffer of %d octets is smaller than one packet of every universe, %d: sysctl -w net.core.rmem_max=%d", s.Buffer, s.Needed, s.Asked)
	}
	if !r.Socket.DropsKnown {
		note("what this host drops itself is not known on this system, so loss may be local")
	}
	if !r.Querier.Known {
		note("whether a querier is on the network is not known: %s", r.Querier.Reason)
	}
	if r.NotJoined > 0 {
		note("%d packets were left aside, of universes that another program of this host has joined", r.NotJoined)
	}
	if r.Evicted+r.Refused > 0 {
		note("too many sources: %d silent ones were forgotten, %d packets of new ones refused", r.Evicted, r.Refused)
	}
	for _, src := range r.Sources {
		if src.Moved > 1 {
			note("%q changed its address %d times: two senders may share the CID %s", src.Name, src.Moved, src.CID)
		}
	}
	a.Notes = append(a.Notes, far.unicast...)
}

// manyGroups is from where the load that joining brings is worth a word.
const manyGroups = 100
