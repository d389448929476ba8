package transmit

import (
	"cmp"
	"fmt"
	"net"
	"net/netip"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/config"
	"yardproof/sacn/source"
)

// laptop is what the checks before the first frame need to know of this
// machine's interfaces.
type laptop struct {
	name     string
	up       bool
	loopback bool
	wireless bool
	prefixes []netip.Prefix
}

// interfaces lists this machine's interfaces as the checks see them.
func interfaces() ([]laptop, error) {
	all, err := net.Interfaces()
	if err != nil {
		return nil, fmt.Errorf("listing the interfaces: %w", err)
	}
	var list []laptop
	for _, i := range all {
		l := laptop{
			name:     i.Name,
			up:       i.Flags&net.FlagUp != 0 && i.Flags&net.FlagRunning != 0,
			loopback: i.Flags&net.FlagLoopback != 0,
			wireless: planfile.Wireless(i.Name),
		}
		addrs, err := i.Addrs()
		if err != nil {
			return nil, fmt.Errorf("addresses of %s: %w", i.Name, err)
		}
		for _, a := range addrs {
			if p, err := netip.ParsePrefix(a.String()); err == nil {
				l.prefixes = append(l.prefixes, p)
			}
		}
		list = append(list, l)
	}
	return list, nil
}

// chooseInterface insists on a name that somebody wrote: sending out of the wrong
// interface is the commonest mistake in the yard.
func chooseInterface(named string, plan *config.Plan) (string, error) {
	if named = cmp.Or(named, plan.Network.Interface); named != "" {
		return named, nil
	}
	return "", cli.Hint(cli.Usagef("no interface was named"), "give --interface, or interface: under network: in the plan; there are %s", source.Interfaces())
}

// adviseOnInterfaces prints what is usually wrong with the laptop. A failed
// listing does not stop sending.
func (t *Transmitter) adviseOnInterfaces() {
	all, err := interfaces()
	if err != nil {
		t.cfg.Log.Warn("the interfaces could not be checked", "error", err)
		return
	}
	for _, line := range usual(t.plan, t.cfg.Interface, all) {
		t.say("check: %s", line)
	}
}

// usual returns, a line each, what is usually wrong with the laptop when
// nothing lights (common practice, no source).
func usual(plan *config.Plan, chosen string, all []laptop) []string {
	var lines []string
	var prefixes []netip.Prefix
	cable, wifi := "", ""
	for _, l := range all {
		if l.name == chosen {
			prefixes = l.prefixes
			if l.wireless {
				lines = append(lines, fmt.Sprintf("%s is wireless: multicast over Wi-Fi is sent slowly and never repeated (RFC 9119), so loss there says nothing about the yard; use a cable", chosen))
			}
		}
		if !l.up || l.loopback || len(l.prefixes) == 0 {
			continue
		}
		if l.wireless {
			wifi = l.name
		} else {
			cable = l.name
		}
	}
	if wifi != "" && cable != "" {
		lines = append(lines, fmt.Sprintf("%s (Wi-Fi) and %s (cable) are both up: a controller may be reached by the wrong one; switch off the one that is not used", wifi, cable))
	}
	for _, c := range plan.Controllers {
		if !c.Address.IsValid() || inside(c.Address, prefixes) {
			continue // multicast, or at home
		}
		lines = append(lines, fmt.Sprintf("controller %s at %s is outside the subnets of %s %v: give this machine an address beside it, or correct one of the two", c.Name, c.Address, chosen, prefixes))
	}
	return lines
}

func inside(addr netip.Addr, prefixes []netip.Prefix) bool {
	for _, p := range prefixes {
		if p.Contains(addr) {
			return true
		}
	}
	return false
}
