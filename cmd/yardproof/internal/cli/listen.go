package cli

import (
	"errors"
	"fmt"
	"net"
	"net/netip"
	"strings"
	"syscall"
)

// Listen opens the TCP address that a flag names, or says what to write instead.
func Listen(flag, address string) (net.Listener, error) {
	ln, err := net.Listen("tcp", address)
	if err == nil {
		return ln, nil
	}
	err = fmt.Errorf("--%s %s: %w", flag, address, err)
	if !errors.Is(err, syscall.EADDRNOTAVAIL) {
		return nil, Hint(err, "name another address or port, or stop what uses this one")
	}
	var own []string
	for _, a := range Addresses() {
		if !a.IsLinkLocalUnicast() {
			own = append(own, a.String())
		}
	}
	return nil, Hint(err, "name an address of this computer; it has %s", strings.Join(own, ", "))
}

// Addresses are those of this computer; none when the system does not tell.
func Addresses() []netip.Addr {
	list, _ := net.InterfaceAddrs()
	var out []netip.Addr
	for _, a := range list {
		if p, err := netip.ParsePrefix(a.String()); err == nil {
			out = append(out, p.Addr().Unmap().WithZone(""))
		}
	}
	return out
}
