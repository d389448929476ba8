package main

import (
	"encoding/hex"
	"math"
	"slices"
	"strconv"
	"testing"
	"time"
)

// stormJudge knows the plan's text, what was asked and when the program ran; of
// the program's own judgement it knows nothing.
type stormJudge struct {
	t     *testing.T
	asked []asked
	lives []life

	frames, lit, white, darks, inDark int
	most                              float64 // the highest load, as a share of its limit
}

const (
	stormPixels   = 100
	stormStrings  = 4 // in the universes 1 to 4
	stormFull     = 0.055
	stormIdle     = 0.001
	reservedIndex = 399
)

// stormPacket is one data packet.
type stormPacket struct {
	at       time.Time
	universe int
	slots    []byte
}

func (p stormPacket) top() byte { return slices.Max(p.slots[:3*stormPixels]) }

// white reports whether every pixel is lit, in equal parts of all colours.
func (p stormPacket) white() bool {
	for i := 0; i < 3*stormPixels; i += 3 {
		if v := p.slots[i]; v == 0 || p.slots[i+1] != v || p.slots[i+2] != v {
			return false
		}
	}
	return true
}

func (p stormPacket) amps() (sum float64) {
	for i := 0; i < 3*stormPixels; i += 3 {
		mean := (float64(p.slots[i]) + float64(p.slots[i+1]) + float64(p.slots[i+2])) / 3 / 255
		sum += stormIdle + (stormFull-stormIdle)*mean
	}
	return sum
}

// judge takes rows of time and payload. Receivers show what they hold at each
// synchronization packet (clause 6.3), so that is when the strings are summed.
func (j *stormJudge) judge(rows [][]string) {
	var packets []stormPacket
	held := make([]*stormPacket, stormStrings)
	for _, row := range rows {
		payload, err := hex.DecodeString(row[1])
		if err != nil {
			j.t.Fatal(err)
		}
		switch {
		case isData(payload):
			p := stormPacket{epoch(j.t, row[0]), int(payload[113])<<8 | int(payload[114]), payload[126:]}
			if _, ok := allowedBy[p.slots[reservedIndex]]; !ok || p.universe < 1 || p.universe > stormStrings {
				j.t.Fatalf("%v: universe %d: the reserved channel holds %d", p.at, p.universe, p.slots[reservedIndex])
			}
			packets = append(packets, p)
			held[p.universe-1] = &packets[len(packets)-1]
		case isSync(payload) && !slices.Contains(held, nil):
			j.frame(held)
		}
	}
	j.unasked(packets)
	j.rising(packets)
	j.dark(packets)
}

// frame sums what all strings show at once.
func (j *stormJudge) frame(held []*stormPacket) {
	var amps [stormStrings]float64
	limit := allowedBy[held[0].slots[reservedIndex]]
	lit := false
	for i, p := range held {
		amps[i] = p.amps()
		lit = lit || p.top() > 0
		if p.slots[reservedIndex] != held[0].slots[reservedIndex] {
			j.t.Errorf("%v: one frame is of two plans", p.at)
		}
	}
	j.frames++
	if lit {
		j.lit++
	}
	for _, on := range []struct {
		what        string
		amps, limit float64
	}{
		{"the fuse of roof", amps[0], limit.roof}, {"the fuse of eaves", amps[1], limit.roof},
		{"the fuse of rail", amps[2], limit.rail}, {"the fuse of gable", amps[3], limit.rail},
		{"the feeder's fuse", amps[2] + amps[3], limit.feeder},
		{"the supply", amps[0] + amps[1], limit.supply}, {"the controller's input", amps[0] + amps[1], limit.controller},
	} {
		j.most = max(j.most, on.amps/on.limit)
		if on.amps > on.limit*1.0001 {
			j.t.Errorf("%v: %.3f A on %s, which may carry %.3f A", held[0].at, on.amps, on.what, on.limit)
		}
	}
}

// unasked: white only while somebody's white can last.
func (j *stormJudge) unasked(packets []stormPacket) {
	for _, l := range j.lives {
		for _, p := range packets {
			if !l.noOtherWhite || !p.at.After(l.started) || !p.at.Before(l.killed) || !p.white() {
				continue
			}
			j.white++
			if !slices.ContainsFunc(j.asked, func(a asked) bool {
				const late = 2 * time.Second // patterns.MinChange, and a machine that is busy
				return a.what == "white" && a.over.After(l.started) && a.sent.Before(p.at) && p.at.Before(a.over.Add(a.hold+late))
			}) {
				j.t.Errorf("%v: universe %d is white and nobody asked for it", p.at, p.universe)
			}
		}
	}
}

// rising: the first light after a start comes up slowly, and what the programme
// lights by itself stays within its own level.
func (j *stormJudge) rising(packets []stormPacket) {
	const perSecond, late, programme = 0.5 * 255, 0.5, 0.6 * 255
	for _, l := range j.lives {
		var before time.Time // of the last dark packet
		for _, p := range packets {
			if !p.at.After(l.started) || !p.at.Before(l.killed) {
				continue
			}
			if p.top() == 0 {
				before = p.at
				continue
			}
			if before.IsZero() {
				before = l.started
			}
			if most := perSecond*(p.at.Sub(before).Seconds()+late) + 1; float64(p.top()) > min(most, programme) {
				j.t.Errorf("%v: the first light after a start is %d of 255, %v after the last dark packet", p.at, p.top(), p.at.Sub(before))
			}
			break
		}
	}
}

// dark: once dark was answered, nothing is lit before somebody lifts it, nor after
// a restart when it was kept. The one packet of a universe that was already on its
// way may pass.
func (j *stormJudge) dark(packets []stormPacket) {
	for _, d := range j.asked {
		if d.what != "dark" || !d.answered {
			continue
		}
		end := packets[len(packets)-1].at
		for _, l := range j.lives {
			if !d.kept && d.over.Before(l.killed) && l.killed.Before(end) {
				end = l.killed
			}
		}
		for _, a := range j.asked {
			if a.what == "resume" && a.over.After(d.sent) && a.sent.Before(end) {
				end = a.sent
			}
		}
		if !end.After(d.over) {
			continue
		}
		j.darks++
		lit := map[int]int{}
		for _, p := range packets {
			if !p.at.After(d.over) || !p.at.Before(end) {
				continue
			}
			j.inDark++
			if p.top() == 0 {
				continue
			}
			if lit[p.universe]++; lit[p.universe] == 2 {
				j.t.Errorf("%v: universe %d is lit; dark was answered at %v and nobody lifted it before %v", p.at, p.universe, d.over, end)
			}
		}
	}
}

// epoch reads tshark's seconds since 1970.
func epoch(t *testing.T, text string) time.Time {
	t.Helper()
	seconds, err := strconv.ParseFloat(text, 64) // to a quarter of a microsecond
	if err != nil {
		t.Fatal(err)
	}
	return time.UnixMicro(int64(math.Round(seconds * 1e6)))
}
