package words

// FieldCaution stands wherever somebody may be sent out to a stake, or handed a
// list of stakes: common practice in field work, from no one source.
const FieldCaution = "Before you go: look up the weather, fire restrictions and road closures; heat and lightning come before the schedule. " +
	"If you work alone, tell somebody your route and when you will be back, and do not count on a phone; take water, and watch for snakes and stock. " +
	"Ask the landowner and the lessee first, and leave gates as you found them. " +
	"A stake is a hazard to stock, tires and feet: cap or flag it. Before you dig, or drive a stake or post, call to have buried lines located, and wait for the marks. " +
	"Local rules and licensed practice come before anything said here."
