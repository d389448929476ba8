package web

import (
	"net"
	"net/http"
	"net/netip"
	"os"
	"strings"
)

// policy lets the page load what it came with and nothing else, but for a film that its
// own phone hands it.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; media-src blob:; connect-src 'self'; " +
	"frame-ancestors 'none'; base-uri 'none'; form-action 'none'"

// guard is around every path: it answers only to names that are this machine's,
// which alone stops a foreign name that was made to point here (DNS rebinding),
// and says how the answer may be used.
func (s *Server) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cache-Control", "no-store")
		within(w, requestTimeout)
		if !s.ours(r.Host) {
			answer(func(http.ResponseWriter, *http.Request) error {
				return problemf(http.StatusMisdirectedRequest, "This machine is not called by that name; use its address, or start it with --host-name.")
			}).ServeHTTP(w, r)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// ours reports whether a Host header (RFC 9110 clause 7.2) names this machine:
// an IP literal, localhost, its own name or one that was configured.
func (s *Server) ours(host string) bool {
	if h, port, err := net.SplitHostPort(host); err == nil {
		if strings.Trim(port, "0123456789") != "" {
			return false
		}
		if _, err := netip.ParseAddr(h); err == nil {
			return true // brackets are checked by SplitHostPort
		}
		host = h
	} else if inner, ok := strings.CutPrefix(host, "["); ok {
		inner, closed := strings.CutSuffix(inner, "]")
		addr, err := netip.ParseAddr(inner)
		return closed && err == nil && addr.Is6()
	}
	if addr, err := netip.ParseAddr(host); err == nil {
		return addr.Is4()
	}
	return s.hosts[canonical(host)]
}

func canonical(host string) string { return strings.ToLower(strings.TrimSuffix(host, ".")) }

// hostNames returns the names that are answered to beside IP literals.
func hostNames(more []string) map[string]bool {
	names := map[string]bool{"localhost": true}
	if own, err := os.Hostname(); err == nil && own != "" {
		more = append([]string{own, own + ".local"}, more...)
		if short, _, ok := strings.Cut(own, "."); ok {
			more = append(more, short, short+".local")
		}
	}
	for _, name := range more {
		names[canonical(name)] = true
	}
	return names
}
