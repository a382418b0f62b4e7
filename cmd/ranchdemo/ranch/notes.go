package ranch

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"time"
)

// notes writes a visit's field notes the way they come out of a shirt pocket:
// first what is at the stake and in the hoop, then who and what came by, the
// sky last.
func (v *Visit) notes(seed uint64) string {
	d := Random(seed, "notes", v.Site.Name, v.Year)
	var b strings.Builder
	fmt.Fprintf(&b, "%s, %s\n", Name, County)
	fmt.Fprintf(&b, "%s, %s\n", v.Site.Name, v.Site.Pasture)
	fmt.Fprintf(&b, "%s\n\n", v.Time.Format("Monday, January 2, 2006, 3:04 PM"))
	part := func(head, body string) { fmt.Fprintf(&b, "%s: %s\n\n", head, body) }
	part("Stake", v.noteStake(d))
	part("Place", fmt.Sprintf("%s. %.5f N %.5f W, WGS 84. Landscape looks %d degrees true.",
		v.Site.stand, v.Site.Latitude, -v.Site.Longitude, v.Site.Bearing))
	part("In the hoop", v.noteGrass(d))
	part("Weeds", v.noteWeeds(d))
	part("Cattle", v.noteGrazing(seed, d))
	part("Wildlife", v.noteWildlife(d))
	part("Fire", v.noteFire(d))
	part("Rain and sky", v.noteWeather(d))
	if v.NoLandscape {
		part("Pictures", "plot only. Camera battery gave out before the landscape and the spare was in the other truck.")
	}
	if v.AfterGap {
		part("Pictures", fmt.Sprintf("none of this stake in %d. A cloudburst took out the draw crossing the week of the round and nobody got across.", v.Year-1))
	}
	return b.String()
}

func pick(d *rand.Rand, from ...string) string { return from[d.IntN(len(from))] }

func (v *Visit) dry() bool { return v.Inches < 0.82*v.Usual }
func (v *Visit) wet() bool { return v.Inches > 1.18*v.Usual }

func (v *Visit) noteWeather(d *rand.Rand) string {
	sky := map[Weather][]string{
		Clear:    {"clear, not a cloud to the horizon", "clear and already hot"},
		Cumulus:  {"fair, flat-bottomed clouds coming up", "fair, cloud shadows crossing the picture"},
		HighThin: {"high thin cloud, soft light", "anvil cloud left over from last night, thin sun"},
		Overcast: {"overcast and cool, flat light, good for the plot", "overcast, no shadows"},
		Storms: {"storm building in the west, kept it short and stayed off the rise", "thunder by nine, sat in the truck till it passed, pea hail on the ground",
			"storm line close, hail last night stripped the leaves on the south side"},
		Dust: {"blowing dust, horizon gone", "dust off the fallow ground to the west, lens wiped twice"},
	}[v.Weather]
	wind := pick(d, "calm", "light wind from the southeast", "south wind 15 to 20, hoop had to be weighted", "breezy, board had to be held")
	if v.Weather == Dust {
		wind = pick(d, "northwest wind 25 and gusting", "wind 30 out of the southwest")
	}
	f := 66 + d.IntN(24)
	state := "about what we usually get"
	if v.dry() {
		state = "a dry year"
	} else if v.wet() {
		state = "a wet year"
	}
	return fmt.Sprintf("gauge at the tank %.1f in since October 1, usual is %.1f: %s. This morning %s, %s, %d F.",
		v.Inches, v.Usual, state, sky[d.IntN(len(sky))], wind, f)
}

func (v *Visit) noteGrass(d *rand.Rand) string {
	look := pick(d, "blue grama headed out, buffalograss green in the low spots", "sod holding, grama green low down, wheatgrass cured",
		"grama fair, needle-and-thread shattered already, globemallow in flower")
	switch {
	case v.dry():
		look = pick(d, "grama short and curled, no seed", "buffalograss gone to straw, bare ground opening between the mats",
			"poor, snakeweed the only green thing, old gray sod mostly")
	case v.wet():
		look = pick(d, "best in years, blue grama seed heads over the whole hoop", "thick, western wheatgrass to the knee, buffalograss runners across the bare spots",
			"green right through, globemallow and asters in flower")
	}
	return fmt.Sprintf("%s. Cover by eye in the 9.6 square foot hoop about %d percent. %s", look, int(v.Cover*100/5+0.5)*5,
		pick(d, "Prickly pear as last year.", "Prickly pear pads plump.", "One saltbush seedling outside the hoop, growing."))
}

// noteGrazing: cattle rotate through the pastures, so one of three is rested.
func (v *Visit) noteGrazing(seed uint64, d *rand.Rand) string {
	turn := map[string]int{"North Flat": 0, "Draw Pasture": 1, "Breaks Pasture": 2}[v.Site.Pasture]
	head := 140 + Random(seed, "herd", v.Year).IntN(7)*10
	if v.dry() {
		head -= 40
	}
	switch (v.Year + turn) % 3 {
	case 0:
		return "pasture rested this year, no cattle since last fall. " + pick(d, "No fresh sign.", "Old pats only.")
	case 1:
		return fmt.Sprintf("%d pair in here May 20 to July 8, moved on to the next pasture. Use %s, about %d percent by height.",
			head, pick(d, "even", "patchy, heavier toward water", "light on the far side"), 20+d.IntN(5)*5)
	default:
		return fmt.Sprintf("%d pair to come in about September 1. Not grazed yet this year.", head)
	}
}

func (v *Visit) noteWeeds(d *rand.Rand) string {
	if v.wet() {
		return pick(d, "kochia waist high around the tank, none in the hoop. Flagged it for mowing.",
			"bindweed along the two-track, runners reaching for the plot. Pulled what was within reach.",
			"a few bull thistle in the low spot, dug them. Six-weeks fescue more than last year.")
	}
	if v.dry() {
		return pick(d, "none seen in the hoop. Russian thistle skeletons blown against the fence.",
			"snakeweed thicker on the rise, no seedlings. Kochia along the road, small.", "none new.")
	}
	return pick(d, "some kochia in the bare ground by the gate, none in the hoop.", "bindweed still only by the road. None at the stake.",
		"one patch of puncturevine by the water, same size as last year.")
}

func (v *Visit) noteWildlife(d *rand.Rand) string {
	return pick(d, "six pronghorn, two with fawns.", "burrowing owl on a post, owlets in the old dog town.",
		"meadowlark on the board while I set up the camera.", "jackrabbits, and a coyote going the other way.",
		"mule deer tracks at the water.", "horned larks, a nest in the grama outside the hoop, stepped around it.",
		"badger diggings 30 paces north.", "hawk on the windmill tower. Rattlesnake in the shade of the saltbush, left it alone.",
		"lark buntings in flocks, and harvester ants have a new mound by the two-track.", "box turtle crossing the two-track, let it go. Killdeer birds at the water.")
}

func (v *Visit) noteFire(d *rand.Rand) string {
	if v.Weather == Storms {
		return pick(d, "none. Lightning to the west, watched an hour for smoke.", "a strike on the next section burned two acres before the rain put it out, none here.")
	}
	if v.wet() {
		return "no sign of fire. " + pick(d, "Fine fuel is heavy, watch it once it cures.", "Plenty to burn by October.")
	}
	return "no sign of fire. " + pick(d, "Fuel light.", "Sod too short to carry.", "Road bladed as a break in May.")
}

func (v *Visit) noteStake(d *rand.Rand) string {
	board := pick(d, "Board lettered fresh.", "Board in the picture, readable.", "Board wiped and lettered, marker running dry.")
	hoop := pick(d, "Hoop laid flat with its coupling at the stake.", "Hoop down, coupling touching the stake.")
	if v.CapMissing {
		return "CAUTION stake cap missing, bare steel in the grass is a hazard to tires and to horses. Stay off it with the truck, bring a cap. " + hoop + " " + board
	}
	return pick(d, "Stake sound, cap on.", "Stake leans a little, cap on and bright.", "Stake and cap good.") + " " + hoop + " " + board
}

// grazingPlan is a note of a whole pasture, for the one year somebody typed it.
func grazingPlan(year int) string {
	return fmt.Sprintf(`%s
Grazing plan %d, North Flat

In:   May 20, 130 pair, through the south gate.
Out:  when the blue grama at the two stakes is down to 2 inches, July 8 at
      the latest.
Rest: whole of next year, then fall use the year after.

Water: windmill on from May 1; fill the stock tank before they come in.
Salt:  not within a quarter mile of water, nor of a stake.
Photos of both stakes in the middle of August as always, before the storms
build for the day.
`, Name, year)
}

// planYear and planTime: the plan lies in the pasture's folder, above its sites.
const planYear = 2019

var planTime = time.Date(planYear, time.March, 11, 14, 25, 0, 0, Zone)
