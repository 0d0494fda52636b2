package server

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/server/access"
	"brasspeg/store"
)

// A route is one address: what it is called with, which right it takes, who answers.
type route struct {
	method, path string
	right        access.Right
	handler      echo.HandlerFunc
}

// table is everything this server answers. The API's part is described by openapi.json; a
// test holds the two against each other.
func (s *Server) table() []route {
	const get, post = http.MethodGet, http.MethodPost
	return []route{
		// For machines that watch the server.
		{get, "/healthz", access.Open, s.healthz},
		{get, "/readyz", access.Open, s.readyz},
		{get, "/metrics", access.SeeMetrics, s.metricsPage},

		// Coming and going.
		{get, "/static/*", access.Open, s.asset},
		{get, "/offline.js", access.Open, s.offlineWorker},
		{get, "/", access.Open, s.start},
		{get, "/login", access.Open, s.loginPage},
		{post, "/login/badge", access.Open, s.loginBadge},
		{post, "/login/password", access.Open, s.loginPassword},
		{post, "/login/first", access.Open, s.loginFirst},
		{post, "/login/demo", access.Open, s.loginDemo},
		{post, "/logout", access.LogOut, s.logout},
		{post, "/lock", access.LogOut, s.lock},
		{post, "/unlock", access.LogOut, s.unlock},
		{get, "/sessions", access.LogOut, s.sessionsPage},
		{post, "/sessions/closing", access.LogOut, s.closeSession},
		{get, "/devices", access.KeepDevices, s.devicesPage},
		{post, "/devices", access.KeepDevices, s.addDevice},
		{post, "/devices/ending", access.KeepDevices, s.endDevice},

		// Pages.
		{get, "/window", access.UseWindow, s.windowPage},
		{get, "/window/recent", access.SeeLedger, s.windowRecent},
		{post, "/window/scan", access.UseWindow, s.windowScan},
		{post, "/window/undo", access.ReverseActs, s.windowUndo},
		{get, "/jobs", access.SeeShop, s.jobsPage},
		{get, "/jobs/:code", access.SeeShop, s.jobPage},
		{get, "/newjob", access.EditJobs, s.newJobPage},
		{post, "/newjob", access.EditJobs, s.makeJob},
		{get, "/jobs/:code/edit", access.EditJobs, s.editJobPage},
		{post, "/jobs/:code/edit", access.EditJobs, s.editJob},
		{post, "/jobs/:code/plan", access.PlanJobs, jobAct(s, s.planJob)},
		{post, "/jobs/:code/release", access.PlanJobs, jobAct(s, s.releaseJob)},
		{post, "/jobs/:code/start", access.StartJobs, jobAct(s, s.startJob)},
		{post, "/jobs/:code/undo", access.ReverseActs, jobAct(s, s.undoJob)},
		{post, "/jobs/:code/back", access.RemarkStacks, jobAct(s, s.sayBack)},
		{get, "/jobs/:code/close", access.PlanJobs, s.closePage},
		{post, "/jobs/:code/close", access.PlanJobs, jobAct(s, s.closeJob)},
		{post, "/jobs/:code/remarks", access.RemarkStacks, jobAct(s, s.noteJob)},
		{post, "/jobs/:code/remarks/drop", access.EditJobs, jobAct(s, s.dropNote)},
		{get, "/jobs/:code/setup.pdf", access.SeeShop, s.setupSheet},
		{get, "/purchases", access.SeeShop, s.purchasesPage},
		{post, "/purchases/draft", access.EditOrders, form(s.draftPurchases)},
		{get, "/machines", access.SeeShop, s.machinesPage},
		{get, "/machines/:code", access.SeeShop, s.machinePage},
		{get, "/edges", access.SeeShop, s.edgesPage},
		{get, "/lives", access.SeeShop, s.livesPage},
		{get, "/lives/:id", access.SeeShop, s.lifePage},
		{get, "/lives/:id/curve.svg", access.SeeShop, s.lifePlot(drawCurve)},
		{get, "/lives/:id/cost.svg", access.SeeShop, s.lifePlot(drawCost)},
		{get, "/search", access.SeeShop, s.searchPage},
		{get, "/names", access.SeeShop, s.namePage},
		{get, "/parts/new", access.KeepParts, s.newPartPage},
		{post, "/parts", access.KeepParts, s.newPart},
		{get, "/parts/import", access.KeepParts, s.importPartsPage},
		{post, "/parts/import", access.KeepParts, s.importParts},
		{get, "/parts/:code", access.SeeShop, s.partPage},
		{get, "/parts/:code/edit", access.KeepParts, s.editPartPage},
		{post, "/parts/:code/edit", access.KeepParts, s.editPart},
		{post, "/parts/:code/undo", access.KeepParts, s.undoChange},
		{post, "/parts/:code/retire", access.KeepParts, form(s.retirePart)},
		{get, "/parts/:code/merge", access.MergeParts, s.mergePage},
		{post, "/parts/:code/merge", access.MergeParts, s.merge},
		{post, "/parts/:code/unmerge", access.MergeParts, s.unmerge},
		{get, "/codes", access.KeepParts, s.codesPage},
		{post, "/codes", access.KeepParts, s.link},
		{post, "/codes/unlink", access.KeepParts, s.unlink},
		{get, "/regrind", access.KeepParts, s.regrindPage},
		{post, "/regrind", access.KeepParts, s.regrind},
		{get, "/pieces/:tag", access.SeeShop, s.piecePage},
		{post, "/pieces/:tag/wear", access.KeepParts, form(s.setWear)},
		{get, "/pieces/:tag/label.svg", access.SeeShop, s.labelSVG},
		{get, "/pieces/:tag/label.pdf", access.SeeShop, s.labelPDF},
		{get, "/places/:code", access.SeeShop, s.placePage},
		{get, "/labels", access.PrintLabels, s.labelsPage},
		{get, "/labels/page.svg", access.PrintLabels, s.labelsPreview},
		{get, "/labels/calibration.pdf", access.PrintLabels, s.labelsCalibration},
		{get, "/labels/worn", access.PrintLabels, s.wornPage},
		{post, "/labels/prints", access.PrintLabels, s.printLabels},
		{get, "/labels/prints/:op", access.PrintLabels, s.printPage},
		{get, "/labels/prints/:op/:file", access.PrintLabels, s.printFile},
		{get, "/labels/badges", access.MakeBadges, s.badgesPage},
		{post, "/labels/badges", access.MakeBadges, s.makeBadge},
		{get, "/t/:tag", access.SeeShop, s.tagPage},
		{get, "/ledger", access.SeeLedger, s.ledgerPage},
		{get, "/ledger/table", access.SeeLedger, s.ledgerTable},
		{get, "/people", access.SeePeople, s.peoplePage},
		{get, "/shop", access.KeepPlaces, s.foundingPage},
		{post, "/shop/people", access.KeepPeople, s.addPerson},
		{post, "/shop/bins", access.KeepPlaces, s.addBins},
		{post, "/shop/machines", access.KeepPlaces, s.addMachine},
		{post, "/shop/stations", access.KeepPlaces, s.addStations},
		{get, "/shop/bins", access.KeepPlaces, s.binsPage},
		{get, "/shop/bins/:code", access.KeepPlaces, s.binPage},
		{post, "/shop/bins/:code", access.KeepPlaces, s.changeBin},
		{post, "/shop/bins/:code/retire", access.KeepPlaces, form(s.retireBin)},
		{get, "/shop/machines/:code", access.KeepPlaces, s.machineRecordPage},
		{post, "/shop/machines/:code", access.KeepPlaces, s.changeMachine},
		{post, "/shop/machines/:code/retire", access.KeepPlaces, form(s.retireMachine)},
		{get, "/shop/stations/:code", access.KeepPlaces, s.stationPage},
		{post, "/shop/stations/:code", access.KeepPlaces, s.changeStation},
		{post, "/shop/stations/:code/retire", access.KeepPlaces, form(s.retireStation)},
		{get, "/shop/people/:code", access.KeepPeople, s.personPage},
		{post, "/shop/people/:code", access.KeepPeople, s.changePerson},
		{post, "/shop/people/:code/leave", access.KeepPeople, s.letPersonGo},
		{get, "/buying", access.SeeBuying, s.buyingPage},
		{post, "/buying/draft", access.EditOrders, form(s.draftOrders)},
		{post, "/buying/snooze", access.EditOrders, form(s.snooze)},
		{get, "/buying/parts/:code", access.SeeBuying, s.buyingPartPage},
		{get, "/buying/parts/:code/stock.svg", access.SeeBuying, s.stockPlot},
		{get, "/buying/money", access.SeeBuying, s.buyingMoney},
		{get, "/buying/surplus", access.SeeBuying, s.buyingSurplus},
		{get, "/buying/levels", access.SeeBuying, s.buyingLevels},
		{post, "/buying/levels", access.ApproveOrders, form(s.acceptLevels)},
		{get, "/buying/rules", access.SeeBuying, s.rulesPage},
		{post, "/buying/rules", access.ApproveOrders, form(s.saveRules)},
		{get, "/buying/tables/:what", access.SeeBuying, s.buyingTable},
		{get, "/orders", access.SeeBuying, s.ordersPage},
		{post, "/orders", access.EditOrders, form(s.addOrder)},
		{get, "/orders/:code", access.SeeBuying, s.orderPage},
		{get, "/orders/:code/table", access.SeeBuying, s.orderTable},
		{get, "/orders/:code/order.pdf", access.SeeBuying, s.orderPDF},
		{post, "/orders/:code/lines", access.EditOrders, form(s.setOrderLine)},
		{post, "/orders/:code/approval", access.ApproveOrders, form(s.approveOrder)},
		{post, "/orders/:code/cancellation", access.EditOrders, form(s.cancelOrder)},
		{post, "/orders/:code/receipts", access.MovePieces, form(s.receiveOrder)},
		{post, "/orders/:code/closing", access.ApproveOrders, form(s.closeOrderLine)},
		{post, "/orders/:code/price", access.ApproveOrders, form(s.correctPrice)},
		{post, "/orders/:code/undo", access.ReverseActs, form(s.undoReceipt)},
		{post, "/orders/:code/ordered", access.ApproveOrders, form(s.setOrdered)},
		{get, "/suppliers", access.SeeBuying, s.suppliersPage},
		{post, "/suppliers", access.ApproveOrders, form(s.saveSupplier)},
		{get, "/suppliers/:code", access.SeeBuying, s.supplierPage},
		{get, "/suppliers/:code/consigned", access.SeeBuying, s.consignedTable},
		{get, "/counting", access.MovePieces, s.countingPage},
		{post, "/counting/plan", access.MovePieces, form(s.planCounts)},
		{post, "/counting/count", access.MovePieces, form(s.countTask)},
		{post, "/counting/drawer", access.MovePieces, form(s.countDrawer)},
		{post, "/counting/undo", access.ReverseActs, form(s.undoCount)},
		{post, "/counting/empty", access.MovePieces, form(s.binEmpty)},

		// The same nouns for programs.
		{get, "/api/v1/openapi.json", access.Open, s.openAPIDocument},
		{get, "/api/v1/parts", access.SeeShop, s.listParts},
		{post, "/api/v1/parts", access.KeepParts, s.addPart},
		{post, "/api/v1/parts/files", access.KeepParts, s.addPartsFile},
		{get, "/api/v1/parts/:code", access.SeeShop, s.getPart},
		{http.MethodPatch, "/api/v1/parts/:code", access.KeepParts, s.changePart},
		{get, "/api/v1/parts/:code/mates", access.SeeShop, s.listMates},
		{get, "/api/v1/parts/:code/changes", access.SeeShop, s.listPartChanges},
		{post, "/api/v1/parts/:code/changes/:op/reversal", access.KeepParts, s.reversePartChange},
		{post, "/api/v1/parts/:code/retirement", access.KeepParts, s.addRetirement},
		{get, "/api/v1/designations", access.SeeShop, s.getDesignation},
		{get, "/api/v1/mates", access.SeeShop, s.getMates},
		{post, "/api/v1/merges", access.MergeParts, act(s.addMerge)},
		{post, "/api/v1/merges/:op/reversal", access.MergeParts, act(s.reverseMerge)},
		{post, "/api/v1/codes", access.KeepParts, act(s.addCode)},
		{post, "/api/v1/regrinds", access.KeepParts, act(s.addRegrind)},
		{get, "/api/v1/lookups", access.SeeLedger, s.getLookups},
		{get, "/api/v1/pieces", access.SeeShop, s.listItems(store.KindPiece)},
		{get, "/api/v1/pieces/:tag", access.SeeShop, s.getItem(store.KindPiece)},
		{get, "/api/v1/lots", access.SeeShop, s.listItems(store.KindLot)},
		{get, "/api/v1/lots/:tag", access.SeeShop, s.getItem(store.KindLot)},
		{get, "/api/v1/places", access.SeeShop, s.listPlaces},
		{get, "/api/v1/places/:code", access.SeeShop, s.getPlace},
		{get, "/api/v1/tags/:tag", access.SeeShop, s.getTag},
		{post, "/api/v1/tags", access.SeeShop, s.readTag},
		{get, "/api/v1/jobs", access.SeeShop, s.listJobs},
		{get, "/api/v1/jobs/:code", access.SeeShop, s.getJob},
		{get, "/api/v1/jobs/:code/stack", access.SeeShop, s.jobStack},
		{get, "/api/v1/jobs/:code/edges", access.SeeShop, s.jobEdges},
		{post, "/api/v1/jobs/:code/count", access.LogEdges, act(s.countJob)},
		{get, "/api/v1/edges", access.SeeShop, s.listEdges},
		{post, "/api/v1/edges", access.LogEdges, act(s.addEdge)},
		{get, "/api/v1/edges/account", access.SeeShop, s.edgeAccount},
		{post, "/api/v1/edges/unknown", access.ReturnPieces, act(s.addUnknown)},
		{post, "/api/v1/edges/looked-at", access.MovePieces, act(s.addLooked)},
		{get, "/api/v1/lives", access.SeeShop, s.listLives},
		{get, "/api/v1/lives/:id", access.SeeShop, s.getLife},
		{post, "/api/v1/lives/:id/plan", access.PlanLives, act(s.planLife)},
		{post, "/api/v1/jobs", access.EditJobs, s.addJob},
		{post, "/api/v1/jobs/:code", access.EditJobs, s.changeJob},
		{get, "/api/v1/jobs/:code/plan", access.SeeShop, s.getPlan},
		{post, "/api/v1/jobs/:code/plan", access.PlanJobs, jobAct(s, s.planJob)},
		{post, "/api/v1/jobs/:code/plan/release", access.PlanJobs, jobAct(s, s.releaseJob)},
		{post, "/api/v1/jobs/:code/plan/undo", access.PlanJobs, jobAct(s, s.undoJob)},
		{get, "/api/v1/jobs/:code/kit", access.SeeShop, s.getKit},
		{post, "/api/v1/jobs/:code/start", access.StartJobs, jobAct(s, s.startJob)},
		{post, "/api/v1/jobs/:code/close", access.PlanJobs, jobAct(s, s.endJob)},
		{get, "/api/v1/jobs/:code/remarks", access.SeeShop, s.listRemarks},
		{post, "/api/v1/jobs/:code/remarks", access.RemarkStacks, jobAct(s, s.noteJob)},
		{get, "/api/v1/readiness", access.SeeShop, s.getOutlook},
		{get, "/api/v1/purchases", access.SeeShop, s.getPurchases},
		{get, "/api/v1/jobs/:code/reservations", access.SeeShop, s.listReservations},
		{post, "/api/v1/stacks", access.SeeShop, s.checkStack},
		{get, "/api/v1/reservations", access.SeeShop, s.listAllReservations},
		{post, "/api/v1/reservations", access.ReserveParts, act(s.addReservation)},
		{post, "/api/v1/reservations/release", access.ReserveParts, act(s.releaseReservations)},
		{get, "/api/v1/bookings", access.SeeLedger, s.listBookings},
		{post, "/api/v1/bookings", access.IssuePieces, act(s.addBooking)},
		{get, "/api/v1/bookings/:op", access.SeeLedger, s.getBooking},
		{post, "/api/v1/bookings/:op/reversal", access.ReverseActs, act(s.reverseBooking)},
		{get, "/api/v1/people", access.SeePeople, s.listPeople},
		{get, "/api/v1/people/:login", access.SeePeople, s.getPerson},
		{get, "/api/v1/labels", access.PrintLabels, s.listLabels},
		{get, "/api/v1/labels/files/:file", access.PrintLabels, s.labelFile},
		{get, "/api/v1/labels/prints", access.PrintLabels, s.listPrints},
		{post, "/api/v1/labels/prints", access.PrintLabels, s.printLabels},
		{get, "/api/v1/labels/prints/:op/:file", access.PrintLabels, s.printFile},
		{get, "/api/v1/buying", access.SeeBuying, s.listBuying},
		{get, "/api/v1/buying/:code", access.SeeBuying, s.getBuying},
		{get, "/api/v1/orders", access.SeeBuying, s.listOrders},
		{get, "/api/v1/orders/:code", access.SeeBuying, s.getOrder},
		{post, "/api/v1/orders", access.EditOrders, form(s.addOrder)},
		{post, "/api/v1/orders/:code/lines", access.EditOrders, form(s.setOrderLine)},
		{post, "/api/v1/orders/:code/approval", access.ApproveOrders, form(s.approveOrder)},
		{post, "/api/v1/orders/:code/cancellation", access.EditOrders, form(s.cancelOrder)},
		{post, "/api/v1/orders/:code/receipts", access.MovePieces, form(s.receiveOrder)},
		{post, "/api/v1/orders/:code/closing", access.ApproveOrders, form(s.closeOrderLine)},
		{post, "/api/v1/orders/:code/price", access.ApproveOrders, form(s.correctPrice)},
		{post, "/api/v1/orders/:code/ordered", access.ApproveOrders, form(s.setOrdered)},
	}
}

// addRoutes puts the table into e, each route behind its right. A route whose right has no
// row in the access table, or that stands twice, is an error.
func (s *Server) addRoutes(e *echo.Echo, table []route) error {
	seen := map[string]bool{}
	for _, r := range table {
		name := r.method + " " + r.path
		if seen[name] {
			return fmt.Errorf("route %s stands twice in the table", name)
		}
		seen[name] = true
		if !access.Known(r.right) {
			return fmt.Errorf("route %s asks for the right %q, which has no row in the access table", name, r.right)
		}
		handler := s.guard(r.right, unescaped(r.handler))
		if strings.HasPrefix(r.path, "/api/") {
			handler = s.asked(r.method, r.path, handler)
		}
		e.Add(r.method, r.path, handler)
	}
	return nil
}

// unescaped gives a handler what an address names: echo leaves it escaped when the address
// holds an escaped slash, as that of a part called E10/5.5.
func unescaped(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if c.Request().URL.RawPath != "" {
			values := slices.Clone(c.ParamValues())
			for i, v := range values {
				plain, err := url.PathUnescape(v)
				if err != nil {
					return &refusal{class: errNotFound, detail: "There is nothing at this address."}
				}
				values[i] = plain
			}
			c.SetParamValues(values...)
		}
		for i, v := range c.ParamValues() {
			if store.Sound(c.ParamNames()[i], v) != nil {
				return &refusal{class: errNotFound, detail: "There is nothing at this address."}
			}
		}
		return next(c)
	}
}

// start sends each to the page he works on: GET /.
func (s *Server) start(c echo.Context) error {
	if p, ok := actor(c); ok {
		return c.Redirect(http.StatusSeeOther, startPage(p.role))
	}
	return c.Redirect(http.StatusSeeOther, "/login")
}
