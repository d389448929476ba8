package cli

import (
	"errors"
	"fmt"
	"net"
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
	addrs, _ := net.InterfaceAddrs() // none: the hint is shorter
	for _, a := range addrs {
		if n, ok := a.(*net.IPNet); ok && !n.IP.IsLinkLocalUnicast() {
			own = append(own, n.IP.String())
		}
	}
	return nil, Hint(err, "name an address of this computer; it has %s", strings.Join(own, ", "))
}
