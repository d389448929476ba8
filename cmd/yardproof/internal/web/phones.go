package web

import (
	"errors"
	"net/http"
)

type listedPhone struct {
	Phone
	This bool `json:"this"` // the one that asks
}

func (s *Server) getPhones(w http.ResponseWriter, r *http.Request) error {
	own, known := s.phone(r)
	list := []listedPhone{}
	for _, p := range s.phones.list() {
		list = append(list, listedPhone{p, known && p.Name == own.Name})
	}
	return writeJSON(w, http.StatusOK, map[string]any{"phones": list})
}

// postRevoke lets a phone out again: one that was lost.
func (s *Server) postRevoke(w http.ResponseWriter, r *http.Request, in struct {
	Name string `json:"name"`
}) error {
	by := s.who(r)
	err := s.phones.revoke(in.Name)
	if errors.Is(err, ErrNoPhone) {
		return problemf(http.StatusNotFound, "There is no phone of this name; GET /api/phones lists them.")
	}
	if err != nil {
		return err
	}
	s.cfg.Log.Info("a phone was let out", "name", in.Name, "by", by, "from", r.RemoteAddr)
	return s.getPhones(w, r)
}
