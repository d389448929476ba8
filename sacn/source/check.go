package source

import (
	"fmt"
	"net"
	"net/netip"
	"runtime"
	"slices"
	"strings"
	"time"

	"yardproof/sacn"
)

// UsageError says in one sentence what is wrong with what the user asked for,
// and what to do.
type UsageError struct {
	Problem string
	Link    bool // it is the interface, which may yet come up
}

func (e *UsageError) Error() string { return e.Problem }

func usagef(format string, args ...any) error {
	return &UsageError{Problem: fmt.Sprintf(format, args...)}
}

const (
	// MinRate keeps a stream alive: receivers give up after 2.5 s (6.7.1), and
	// unchanged data is repeated within a second (6.6.2, from memory, unchecked).
	MinRate = 1

	// FastestRate is the most that Config.AllowFast allows.
	FastestRate = 1000
)

func (c *Config) check() error {
	switch {
	case c.Priority > sacn.MaxPriority:
		return usagef("priority %d is above %d, the highest of E1.31", c.Priority, sacn.MaxPriority)
	case c.SyncAddress > sacn.MaxUniverse:
		return usagef("synchronization universe %d is above %d, the highest of E1.31", c.SyncAddress, sacn.MaxUniverse)
	case c.TTL < 1 || c.TTL > 255:
		return usagef("TTL %d is outside 1-255", c.TTL)
	case !(c.Spread >= 0 && c.Spread <= 1):
		return usagef("spread %g is outside 0-1, the share of the frame period", c.Spread)
	case !(c.Rate >= MinRate && c.Rate <= FastestRate):
		return usagef("rate %g is outside %d-%d frames a second", c.Rate, MinRate, FastestRate)
	}
	return nil
}

func (c *Config) checkScene(scene Scene) error {
	if scene.Render == nil {
		return usagef("a scene without a renderer cannot be sent")
	}
	return c.checkStreams(scene.Streams)
}

func (c *Config) checkStreams(streams []Stream) error {
	if len(streams) == 0 {
		return usagef("there is no universe to send")
	}
	longest := 0
	for _, st := range streams {
		switch {
		case !sacn.ValidUniverse(st.Universe):
			return usagef("universe %d is outside %d-%d", st.Universe, sacn.MinUniverse, sacn.MaxUniverse)
		case st.Slots < 1 || st.Slots > sacn.MaxSlots:
			return usagef("universe %d: %d slots are outside 1-%d", st.Universe, st.Slots, sacn.MaxSlots)
		case st.Unicast.IsValid() && (st.Unicast.IsMulticast() || st.Unicast.IsUnspecified()):
			return usagef("universe %d: %s is not the address of one controller", st.Universe, st.Unicast)
		}
		longest = max(longest, st.Slots)
	}
	if most := sacn.MaxRate(longest); c.Rate > most && !c.AllowFast {
		return usagef("rate %g is above %.1f frames a second, the most that E1.11 refreshes %d slots; lower it, or give --above-refresh-limit", c.Rate, most, longest)
	}
	return nil
}

// Link is the state of the interface.
type Link int32

// The states of an interface, best first.
const (
	LinkUp        Link = iota
	LinkNoCarrier      // the cable is out, or the other end is off
	LinkNoAddress      // no address of the family
	LinkDown
	LinkGone
)

func (l Link) String() string {
	return [...]string{"up", "no carrier", "no address", "down", "gone"}[l]
}

// linkState is what the engine needs to know of the interface.
type linkState struct {
	state Link
	index int
	mtu   int
	addrs []netip.Addr // of the family

	hardware net.HardwareAddr // of six octets on Ethernet
}

// sameWire reports whether sockets made for one state serve in the other.
func (a linkState) sameWire(b linkState) bool {
	return a.index == b.index && slices.Equal(a.addrs, b.addrs) && slices.Equal(a.hardware, b.hardware)
}

// readLink looks the interface up.
func readLink(name string, ipv6 bool) linkState {
	ifi, err := net.InterfaceByName(name)
	if err != nil {
		return linkState{state: LinkGone}
	}
	l := linkState{index: ifi.Index, mtu: ifi.MTU, addrs: addresses(ifi, ipv6), hardware: ifi.HardwareAddr}
	switch {
	case ifi.Flags&net.FlagUp == 0:
		l.state = LinkDown
	case len(l.addrs) == 0:
		l.state = LinkNoAddress
	case ifi.Flags&net.FlagRunning == 0:
		l.state = LinkNoCarrier
	}
	return l
}

// addresses returns the interface's addresses of one family.
func addresses(ifi *net.Interface, ipv6 bool) []netip.Addr {
	all, _ := ifi.Addrs() // an interface that has just gone has none
	var some []netip.Addr
	for _, a := range all {
		if n, ok := a.(*net.IPNet); ok {
			if ip, ok := netip.AddrFromSlice(n.IP); ok && ip.Unmap().Is6() == ipv6 {
				some = append(some, ip.Unmap())
			}
		}
	}
	return some
}

// linkf is usagef for an interface that may yet come up.
func linkf(format string, args ...any) error {
	return &UsageError{Problem: fmt.Sprintf(format, args...), Link: true}
}

// checkInterface refuses an interface that cannot serve.
func (c *Config) checkInterface() (linkState, error) {
	state, err := checkInterface(c.Interface, c.IPv6)
	if err == nil && c.Packet {
		err = checkPacket(c.Interface, state)
	}
	return state, err
}

// checkInterface refuses an interface that cannot carry a full packet.
func checkInterface(name string, ipv6 bool) (linkState, error) {
	family, header := "IPv4", 28
	if ipv6 {
		family, header = "IPv6", 48
	}
	if name == "" {
		return linkState{}, usagef("no interface was named; there are %s", Interfaces())
	}
	l := readLink(name, ipv6)
	need := sacn.MaxDataLen + header
	switch {
	case l.state == LinkGone:
		return l, linkf("there is no interface %q; there are %s", name, Interfaces())
	case l.state == LinkDown:
		return l, linkf("interface %s is down; bring it up, or choose another: %s", name, Interfaces())
	case l.state == LinkNoAddress:
		return l, linkf("interface %s has no %s address; give it one, or choose another: %s", name, family, Interfaces())
	case l.mtu < need:
		return l, usagef("interface %s has an MTU of %d, a full packet over %s needs %d; raise it", name, l.mtu, family, need)
	}
	return l, nil
}

// checkPacket refuses an interface that carries no Ethernet frames.
func checkPacket(name string, l linkState) error {
	if runtime.GOOS != "linux" {
		return usagef("--send packet works on Linux only; leave it out")
	}
	if len(l.hardware) != 6 {
		return usagef("interface %s is not Ethernet, and --send packet writes Ethernet frames; choose another, or leave it out: %s", name, Interfaces())
	}
	return nil
}

// Interfaces lists the interfaces of this computer, for people: each with its first
// address, or why it has none.
func Interfaces() string {
	all, err := net.Interfaces()
	if err != nil {
		return err.Error()
	}
	var list []string
	for _, ifi := range all {
		what := "down"
		if ifi.Flags&net.FlagUp != 0 {
			what = "no address"
			if addrs := append(addresses(&ifi, false), addresses(&ifi, true)...); len(addrs) > 0 {
				what = addrs[0].String()
			}
		}
		list = append(list, fmt.Sprintf("%s (%s)", ifi.Name, what))
	}
	return strings.Join(list, ", ")
}

// environment is the outside world: everything that a test replaces.
type environment struct {
	dial       func(state linkState, unicast netip.Addr) (socket, error)
	sleepUntil func(time.Time)
	realtime   func()                  // called on the sending goroutine, before all else
	changes    func() (changes, error) // of the interface
	readLink   func() linkState
	lookTime   time.Duration // see the constant
	advise     func(state linkState) Advice
}

func realEnvironment(cfg Config) environment {
	return environment{
		dial: func(state linkState, unicast netip.Addr) (socket, error) {
			if cfg.Packet && !unicast.IsValid() {
				return dialPacket(cfg, state)
			}
			return dial(cfg, state, unicast)
		},
		sleepUntil: newSleeper(cfg.Realtime),
		realtime: func() {
			if !cfg.Realtime {
				return
			}
			if err := realtime(); err != nil && cfg.Log != nil {
				cfg.Log.Warn("frames are sent without real-time priority: it takes root, CAP_SYS_NICE or an RLIMIT_RTPRIO, under systemd the drop-in realtime.conf; or leave --realtime out", "error", err)
			}
		},
		changes:  newChanges,
		readLink: func() linkState { return readLink(cfg.Interface, cfg.IPv6) },
		lookTime: lookTime,
		advise: func(state linkState) Advice {
			if cfg.Packet { // neither neighbours nor routes are asked
				return Advice{}
			}
			return advise(cfg, state)
		},
	}
}
