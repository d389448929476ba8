package farend

import (
	"fmt"
	"slices"
	"strings"

	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config/budget"
	"yardproof/sacn"
	"yardproof/sacn/listener"
)

// find says what is wrong, a sentence each.
func (a *Answer) find(r *listener.Report) {
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
		found("lost %d of %s (%.3g %%), on %s", lost, counted(received+lost, "packet"), 100*float64(lost)/float64(received+lost), universesText(lossy.List()))
	}
	if local > 0 {
		found("up to %d of these were lost in this computer, not on the wire", local)
	} else if r.LocalDrops > 0 {
		found("this computer lost %s itself: not on the wire", counted(r.LocalDrops, "packet"))
	}
	if outages > 0 {
		found("a stream stopped for over 2.5 s: %s, on %s", counted(outages, "time"), universesText(silent.List()))
	}
	if restarts > 0 {
		found("a sequence count jumped back by 20 or more: %s; a source was restarted", counted(restarts, "time"))
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
			strs = fmt.Sprintf(" (%s)", textout.Some(names, 10))
		}
		found("nothing heard on %s%s", universesText(universes), strs)
	}
	if a.Malformed > 0 {
		var reasons []string
		for reason, n := range a.Reasons {
			if n > 0 {
				reasons = append(reasons, fmt.Sprintf("%s %d", reason, n))
			}
		}
		slices.Sort(reasons)
		found("%s malformed: %s", counted(a.Malformed, "packet"), strings.Join(reasons, ", "))
	}
	if r.DeafNow != "" {
		found("this computer cannot hear: its interface %s is %s", r.Interface, r.DeafNow)
	} else if r.Deaf > 0 {
		found("this computer could not hear for %.1f s: its interface %s had gone or was down", r.Deaf.Seconds(), r.Interface)
	}
	if list := levelless(r); len(list) > 0 {
		found("packets but no levels on %s: their START code is not 0, so no pixel follows them", universesText(list))
	}
	if list := reserved.List(); len(list) > 0 {
		found("priority above %d, the highest that E1.31 allows, on %s", sacn.MaxPriority, universesText(list))
	}
	if s := r.SnoopingSuspected(); s != "" {
		found("%s", s)
	}
}

// levelless returns the universes on which packets came, but none with START code
// 0, which alone is levels.
func levelless(r *listener.Report) []uint16 {
	levels, others := new(listener.UniverseSet), new(listener.UniverseSet)
	for _, src := range r.Sources {
		for _, s := range src.Streams {
			if s.Others < s.Packets {
				levels.Add(s.Universe)
			} else {
				others.Add(s.Universe)
			}
		}
	}
	return slices.DeleteFunc(others.List(), levels.Has)
}

// note says what else is worth knowing.
func (a *Answer) note(r *listener.Report, far *FarEnd) {
	note := func(format string, args ...any) { a.Notes = append(a.Notes, fmt.Sprintf(format, args...)) }
	if n := len(far.expected.Universes); n >= manyGroups {
		octets := budget.WireOctets(sacn.MaxDataLen, false)
		note("the network sends all %d universes to this port: up to %.0f Mb/s at 40 Hz", n, float64(n*octets*8*40)/1e6)
	}
	if s := r.Socket; s.DropsKnown && s.Buffer < s.Needed {
		note("the receive buffer (%d octets) does not hold one packet of every universe (%d): run sysctl -w net.core.rmem_max=%d", s.Buffer, s.Needed, s.Asked)
	}
	if !r.Socket.DropsKnown {
		note("this system does not tell what the computer loses itself, so loss may be local")
	}
	if !r.Querier.Known {
		note("not known whether the network has an IGMP querier: %s", r.Querier.Reason)
	}
	if r.NotJoined > 0 {
		note("ignored %s of universes that were not asked for, sent to this computer or to groups that another of its programs has joined", counted(r.NotJoined, "packet"))
	}
	if r.Evicted+r.Refused > 0 {
		note("too many sources: forgot %d silent ones, refused %s of new ones", r.Evicted, counted(r.Refused, "packet"))
	}
	if len(a.NotMeasured) > 0 {
		note("not measured here: %s, sent by unicast to other machines", universesText(a.NotMeasured))
	}
}

// manyGroups is from where the load that joining brings is worth a word.
const manyGroups = 100
