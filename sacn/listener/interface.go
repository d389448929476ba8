package listener

import (
	"fmt"
	"net"
	"strings"
)

// InterfaceError says in one sentence why an interface cannot receive, and what
// to do.
type InterfaceError struct{ Problem string }

func (e *InterfaceError) Error() string { return e.Problem }

func interfacef(format string, args ...any) error {
	return &InterfaceError{fmt.Sprintf(format, args...)}
}

// findInterface returns an interface that can receive; an [InterfaceError] lists the
// others.
func findInterface(name string) (*net.Interface, error) {
	all, err := net.Interfaces()
	if err != nil {
		return nil, fmt.Errorf("list the interfaces: %w", err)
	}
	var names []string
	for _, ifi := range all {
		if ifi.Name == name {
			if ifi.Flags&net.FlagUp == 0 {
				return nil, interfacef("interface %s is down; bring it up first", name)
			}
			return &ifi, nil
		}
		names = append(names, ifi.Name)
	}
	if name == "" {
		return nil, interfacef("no interface was named; there are %s", strings.Join(names, ", "))
	}
	return nil, interfacef("there is no interface %q; there are %s", name, strings.Join(names, ", "))
}
