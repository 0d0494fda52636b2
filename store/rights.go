package store

import "brasspeg/store/ledger"

// A Role is what a person may do.
type Role string

// The roles.
const (
	Operator  Role = "operator"
	Attendant Role = "attendant"
	Manager   Role = "manager"
	Admin     Role = "admin"
)

// Roles is every role.
var Roles = []Role{Operator, Attendant, Manager, Admin}

// Known says whether r is one of Roles.
func (r Role) Known() bool { return r == Operator || r == Attendant || r == Manager || r == Admin }

func (r Role) withArticle() string {
	if r == Manager || r == "" {
		return "a " + string(r)
	}
	return "an " + string(r)
}

// acts is who may book what. An operator acts for himself, which the acts themselves check;
// an admin keeps the program and what the shop is made of, and books
// nothing.
var acts = map[Role]map[ledger.Act]bool{
	Operator:  {ledger.Issue: true, ledger.Return: true, ledger.Use: true, ledger.Reverse: true, ActEdge: true, ActMade: true, ActRemark: true, ActStart: true},
	Attendant: {ledger.Issue: true, ledger.Return: true, ledger.Receive: true, ledger.Transfer: true, ledger.Count: true, ledger.Adjust: true, ledger.Scrap: true, ledger.Use: true, ledger.Reverse: true, ActEdge: true, ActMade: true, ActReserve: true, ActStart: true, ActOverride: true, ActClose: true, ActRemark: true, ActPart: true, ActLink: true, ActOrder: true, ActPrint: true},
	Manager:   {ledger.Issue: true, ledger.Return: true, ledger.Receive: true, ledger.Transfer: true, ledger.Count: true, ledger.Adjust: true, ledger.Scrap: true, ledger.Use: true, ledger.Reverse: true, ActEdge: true, ActMade: true, ActLifePlan: true, ActReserve: true, ActStart: true, ActOverride: true, ActClose: true, ActRemark: true, ActPart: true, ActLink: true, ActMerge: true, ActPlan: true, ActOrder: true, ActApprove: true, ActPrint: true, ActShop: true},
	Admin:     {ActShop: true},
}

// May says whether a role may book an act at all.
func May(r Role, a ledger.Act) bool { return acts[r][a] }

// adjustLimit is the most pieces an attendant may adjust away or in without a manager.
const adjustLimit = 20
