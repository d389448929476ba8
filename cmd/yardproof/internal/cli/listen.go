package cli

import (
	"errors"
	"fmt"
	"net"
	"strconv"
	"strings"
	"syscall"
)

// CheckAddress rejects what is not the address of a page: all interfaces must be written,
// since an address that was left out is a slip.
func CheckAddress(flag, address string) error {
	host, port, err := net.SplitHostPort(address)
	if n, portErr := strconv.ParseUint(port, 10, 16); err != nil || portErr != nil {
		own := "127.0.0.1"
		if ip := net.ParseIP(address); ip != nil {
			own = ip.String()
		}
		return Hint(Usagef("--%s %q is not an address with a port", flag, address), "write it as %s", net.JoinHostPort(own, "9531"))
	} else if host == "" {
		return Hint(Usagef("--%s %s names no address", flag, address), "write 127.0.0.1:%d for this machine alone, one of its addresses, or 0.0.0.0:%d for all", n, n)
	}
	return nil
}

// Listen opens the TCP address that a flag names, or says what to write instead.
func Listen(flag, address string) (net.Listener, error) {
	ln, err := net.Listen("tcp", address)
	if err == nil {
		return ln, nil
	}
	switch {
	case errors.Is(err, syscall.EADDRINUSE):
		return nil, Hint(fmt.Errorf("--%s %s: another program uses it", flag, address), "stop that one, or name another port")
	case errors.Is(err, syscall.EACCES):
		return nil, Hint(fmt.Errorf("--%s %s: this user may not open that port", flag, address), "name a port from 1024 on, such as 9531")
	case !errors.Is(err, syscall.EADDRNOTAVAIL):
		return nil, Hint(fmt.Errorf("--%s %s: %w", flag, address, err), "name another address or port")
	}
	err = fmt.Errorf("--%s %s: this computer has no such address", flag, address)
	var own []string
	addrs, _ := net.InterfaceAddrs() // none: the hint is shorter
	for _, a := range addrs {
		if n, ok := a.(*net.IPNet); ok && !n.IP.IsLinkLocalUnicast() {
			own = append(own, n.IP.String())
		}
	}
	return nil, Hint(err, "name an address of this computer; it has %s", strings.Join(own, ", "))
}
