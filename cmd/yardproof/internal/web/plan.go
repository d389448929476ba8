package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/netip"

	"yardproof/config"
	"yardproof/config/protection"
	"yardproof/patterns"
)

// getPlan tells what there is: strings, controllers, patterns.
func (s *Server) getPlan(w http.ResponseWriter, r *http.Request) error {
	now := s.cfg.Session.Snapshot()
	plan, b := now.Plan, now.Budget
	type aString struct {
		Number     int      `json:"number"`
		Name       string   `json:"name"`
		Label      string   `json:"label"`
		Controller string   `json:"controller"`
		Port       string   `json:"port"`
		Universe   uint16   `json:"universe"`
		Last       uint16   `json:"last_universe"`
		Channel    int      `json:"channel"`
		Pixels     int      `json:"pixels"`
		NullPixels int      `json:"null_pixels"`
		Order      string   `json:"order"`
		PortOrder  string   `json:"port_order"`
		Chip       string   `json:"chip"`
		Flow       string   `json:"flow"` // backward: the port counts from the far end
		Feeds      []string `json:"feeds"`
		Batch      string   `json:"batch"`            // strings of one batch draw alike
		Faults     []string `json:"faults,omitempty"` // what it does in a fault, for whoever stands before it
	}
	type aController struct {
		Name    string     `json:"name"`
		Address netip.Addr `json:"address"` // "": multicast
		OnLoss  string     `json:"on_loss"` // as in the plan
		Seen    string     `json:"seen"`    // what a cable check showed; "": none was made
		Strings int        `json:"strings"`
	}
	type aPattern struct {
		Name string `json:"name"`
		Does string `json:"does"`
	}
	out := struct {
		Name        string        `json:"name"`
		Strings     []aString     `json:"strings"`
		Controllers []aController `json:"controllers"`
		Patterns    []aPattern    `json:"patterns"`
		Local       bool          `json:"local"`            // the page is served to this machine alone
		Bench       bool          `json:"bench"`            // one string after another hangs on one port
		Faults      []string      `json:"faults,omitempty"` // of no string: what mains circuits do not bear
	}{Bench: s.cfg.Bench != nil, Name: plan.Name, Strings: []aString{}, Controllers: []aController{}, Local: s.cfg.Loopback}
	on, briefs := map[string]int{}, s.protection(plan).Briefs()
	out.Faults = briefs[""]
	for i, str := range plan.Strings {
		a := aString{
			Number: str.Number(), Name: str.Name, Label: s.hangs(str), Port: str.Port, Flow: string(str.Flow),
			Universe: str.Universe, Last: lastUniverse(plan, str), Channel: str.Channel, Pixels: str.Pixels, NullPixels: str.NullPixels,
			Order: string(str.Order), PortOrder: string(str.PortOrder), Chip: str.Chip.Name, Feeds: []string{}, Faults: briefs[str.Name],
		}
		if str.Controller != nil {
			a.Controller = str.Controller.Name
			on[a.Controller]++
		}
		a.Batch = fmt.Sprintf("%s %g V %g A", str.Chip.Name, str.Volts, b.Strings[i].Chip.AmpsPerPixel)
		for _, f := range str.Feeds {
			a.Feeds = append(a.Feeds, f.At)
		}
		out.Strings = append(out.Strings, a)
	}
	for _, c := range plan.Controllers {
		seen, _ := s.cableCheck(c.Name)
		out.Controllers = append(out.Controllers, aController{c.Name, c.Address, string(c.OnLoss), seen, on[c.Name]})
	}
	for _, p := range patterns.All() {
		out.Patterns = append(out.Patterns, aPattern{p.Name, p.Does})
	}
	text, err := json.Marshal(out)
	if err != nil {
		return err
	}
	return send(w, r, file{kind: "application/json", plain: text, small: func() []byte { return squeeze(text) }})
}

// protection is what was found of the plan; nil: nothing is known.
func (s *Server) protection(plan *config.Plan) *protection.Report {
	if s.cfg.Protection == nil {
		return nil
	}
	return s.cfg.Protection(plan)
}

// cableCheck returns what a controller was last seen to do when its data stops, and
// the version of the record that says so.
func (s *Server) cableCheck(controller string) (seen string, changed int) {
	return s.cfg.Record.Seen(controller, config.SeenOnLoss()...)
}

// lastUniverse is where a string's channels end.
func lastUniverse(plan *config.Plan, str *config.String) uint16 {
	segments := plan.Map().Strings[str.Index].Segments
	return segments[len(segments)-1].Universe
}
