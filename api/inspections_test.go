package api

import "strconv"

// inspections sends what was found on Bus 2, whose front right pad read 14.2 mm
// on 1 February.
func (c *client) inspections() {
	var found Page[VehicleItem]
	c.get("/vehicles?q=bus+2", &found)
	self := "/vehicles/" + strconv.FormatInt(found.Items[0].ID, 10)
	path := self + "/inspections"
	good := `{"date":"2026-03-01","technician":"N. N.","odometer_km":93000,"note":"pin is free","readings":[
		{"axle":1,"part":"pad","side":"right","value_mm":"9/16 in"},
		{"axle":2,"part":"pad","side":"left","face":"inner","value_mm":12.5,"gauge":"0.1 mm caliper"}],
		"conditions":[{"axle":1,"side":"right","condition":"glazed"}]}`
	c.run([]call{
		{name: "doubted", path: path, body: `{"odometer_km":9300,"readings":[{"axle":1,"part":"pad","side":"right","value_mm":19.5}]}`, status: 422, want: []string{
			`{"column":"odometer_km","detail":"Below the`, `{"line":1,"column":"value_mm","read":"19.5","detail":"`, `Measure it again, then correct it or set \"confirmed\"."}`}},
		{name: "unreadable", path: path, body: `{"readings":[{"axle":1,"part":"pad","side":"right","value_mm":"thin"}]}`, status: 422, want: []string{`{"line":1,"column":"value_mm","read":"thin","detail":"“thin” cannot be read`}},
		{name: "no number", path: path, body: `{"readings":[{"axle":1,"part":"pad","value_mm":true}]}`, status: 400, want: []string{"value_mm true"}},
		{name: "a word it does not know", path: path, body: `{"reading":[]}`, status: 400, want: []string{"unknown field"}},
		{name: "a bracket behind", path: path, body: `{"odometer_km":1}}`, status: 400, want: []string{"something follows"}},
		{name: "words behind", path: path, body: `{"odometer_km":1} and more`, status: 400, want: []string{"something follows"}},
		{name: "two objects", path: path, body: `{"odometer_km":1}{}`, status: 400, want: []string{"something follows"}},
		{name: "nothing", path: path, body: `{}`, status: 400, want: []string{"nothing is filled in"}},
		{name: "no such vehicle", path: "/vehicles/999/inspections", body: good, status: 404},
		{name: "taken in", path: path, key: "i1", body: good, status: 201, want: []string{`"kind":"form"`, `"accepted":5,"refused":0,"repeated":0`}},
		{name: "again", path: path, key: "i1", body: good, want: []string{`"accepted":0,"refused":0,"repeated":5`}},
		{name: "its key for another", path: path, key: "i1", body: `{"odometer_km":93100}`, status: 409},
		{name: "in its history", path: self + "/history", want: []string{`"value_mm":14.2875,"tripped":false,"given":"9/16","unit":"in"`, // 25.4 mm to the inch
			`"date":"2026-03-01","axle":0,"side":"","condition":"noted","note":"pin is free","technician":"N. N."`, `"axle":1,"side":"right","condition":"glazed"`}},
		{name: "confirmed", path: path, body: `{"odometer_km":9300,"odometer_confirmed":true,"readings":[{"axle":1,"part":"pad","side":"right","value_mm":19.5,"confirmed":true}]}`, status: 201,
			want: []string{`"accepted":2`, `"column":"odometer","read":"9,300 km","message":"Below the`, `Confirmed: measured twice."`, `"column":"axle 1 right pad","read":"19.5 mm"`}},
	})
}
