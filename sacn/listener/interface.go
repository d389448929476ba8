package listener

import (
	"fmt"
	"net"
	"strings"
)

// findInterface returns an interface that can receive; its error lists the
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
				return nil, fmt.Errorf("interface %s is down; bring it up first", name)
			}
			return &ifi, nil
		}
		names = append(names, ifi.Name)
	}
	if name == "" {
		return nil, fmt.Errorf("no interface was named; there are %s", strings.Join(names, ", "))
	}
	return nil, fmt.Errorf("there is no interface %q; there are %s", name, strings.Join(names, ", "))
}
