package transmit

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"yardproof/cmd/yardproof/internal/session"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/sacn"
	"yardproof/sacn/source"
)

const (
	// wireOverhead is what a frame takes on Ethernet beside its IP packet, in octets:
	// preamble 8, header 14, check sequence 4, gap 12 (IEEE 802.3).
	wireOverhead = 8 + 14 + 4 + 12

	// fullEnough is the share of an interface that a plan may take without a word
	// (common practice, no source): bursts and other traffic need the rest.
	fullEnough = 0.7
)

// adviseOnSending says what a sender of many universes must know beforehand.
func (t *Transmitter) adviseOnSending() {
	if t.cfg.Packet {
		t.say("check: with --send packet, programs on this computer do not hear our multicast; listen on another one")
		if t.cfg.WatchOn != "" {
			t.say("check: --watch hears it on %s, where it comes back from the wire", t.cfg.WatchOn)
		}
	}
	speed, ok := linkSpeed(t.cfg.Interface)
	if !ok {
		return
	}
	if line := crowded(session.Streams(t.plan), t.cfg.Rate, t.plan.Network.IPv6, t.cfg.Interface, speed); line != "" {
		t.say("check: %s", line)
	}
}

// linkSpeed returns the speed of an interface in bits a second; false when it
// does not know it, as without a cable, by Wi-Fi, or on other systems than Linux.
func linkSpeed(name string) (float64, bool) {
	text, err := os.ReadFile(filepath.Join("/sys/class/net", name, "speed"))
	if err != nil {
		return 0, false
	}
	megabits, err := strconv.Atoi(strings.TrimSpace(string(text)))
	return float64(megabits) * 1e6, err == nil && megabits > 0
}

// onWire returns the bits a second that a stream takes on Ethernet.
func onWire(st source.Stream, rate float64, ipv6 bool) float64 {
	headers := 20 + 8
	if st.Unicast.Is6() || ipv6 && !st.Unicast.IsValid() {
		headers = 40 + 8
	}
	return 8 * rate * float64(wireOverhead+headers+sacn.MaxDataLen-sacn.MaxSlots+st.Slots)
}

// crowded returns a sentence when a plan needs more of an interface than it should.
func crowded(streams []source.Stream, rate float64, ipv6 bool, name string, speed float64) string {
	all := 0.0
	each := map[string]float64{} // controller: bits a second
	for _, st := range streams {
		bits := onWire(st, rate, ipv6)
		all += bits
		each[st.Controller] += bits
	}
	share := all / speed
	if share <= fullEnough {
		return ""
	}
	line := fmt.Sprintf("the plan needs %.3g Gbit/s, %.0f %% of the %.3g Gbit/s of %s", all/1e9, 100*share, speed/1e9, name)
	if share > 1 {
		line += ": packets will be lost"
	} else {
		line += ": bursts may lose packets"
	}
	n := transmitters(each, fullEnough*speed)
	if n == 0 {
		return line + "; use a faster interface"
	}
	return line + fmt.Sprintf("; use a faster interface, or share the controllers among %s with --only-controllers", textout.Count(n, "transmitter"))
}

// transmitters returns how many interfaces of some room carry all controllers, none of
// which can be divided: the largest first, each to the first that has room. 0: one
// does not fit at all.
func transmitters(controllers map[string]float64, room float64) int {
	var sizes, used []float64
	for _, size := range controllers {
		sizes = append(sizes, size)
	}
	slices.SortFunc(sizes, func(a, b float64) int { return int(b - a) })
	for _, size := range sizes {
		if size > room {
			return 0
		}
		i := slices.IndexFunc(used, func(u float64) bool { return u+size <= room })
		if i < 0 {
			i = len(used)
			used = append(used, 0)
		}
		used[i] += size
	}
	return len(used)
}
