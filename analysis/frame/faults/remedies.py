"""The faults of a playback chain in words: what is seen, what does it, what to change.

`trueraster verify`, the marked picture and the page on capturing all take their words from here.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["FAULTS", "FaultWords"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultWords:
    """One fault. The words hold for any chain; `seen` may hold {placeholders} for what was measured.

    The placeholders are among gain (a factor), offset_percent, power, degrees, transfer and primaries (what became of
    them, in words), channel (a component or a gun), order (the channels as they arrive), bits (that carry something),
    sides (words), scale_x, scale_y (factors), offset_x, offset_y (samples), response (a factor), pattern (that was
    asked for) and looks_like (what is there instead).
    Whoever fills them in rounds them and gives them their sign; units stand in the words.
    """

    id: str
    title: str
    seen: str
    """What the levels or the picture show, one sentence."""
    cause: str
    """What in a chain does it."""
    remedy: str
    """What to change, in a technician's words."""


_ALL = (
    FaultWords(
        id="range-expanded",
        title="Narrow range stretched to full",
        seen="Black and white lie further apart than they were sent: narrow-range black has moved to code 0 and "
        "white to the highest code, and what was below black or above white is lost.",
        cause="A player, a graphics driver or the capture software takes the signal for narrow range and "
        "converts it to full, or converts it a second time.",
        remedy="Set the range (also called levels, black level or quantisation) of player, output and capture "
        "to the same kind, and leave no stage on automatic; where its file does not say "
        "it, tell with --range which one the capture is meant to have.",
    ),
    FaultWords(
        id="range-compressed",
        title="Full range squeezed to narrow",
        seen="Black and white lie closer together than they were sent: black has come up to narrow-range black "
        "and white has come down to narrow-range white, so black is grey and white is dull.",
        cause="A player, a graphics driver or the capture software takes the signal for full range and converts "
        "it to narrow; a full-range file sent as narrow looks the same.",
        remedy="Set the range of player, output and capture to the same kind, and leave no stage on automatic; "
        "where its file does not say it, tell with --range which one the capture is meant to have.",
    ),
    FaultWords(
        id="footroom-clipped",
        title="Nothing below black",
        seen="Every level from black upwards is right, but what was sent below black has arrived as black.",
        cause="A stage that cuts at black: conversion to full-range R'G'B' and back, or a 'legal levels' or "
        "limiter setting in player, converter or capture.",
        remedy="Switch the limiter off, or keep the path Y'CbCr with narrow range from file to capture; where "
        "the output is full-range R'G'B' nothing below black can pass, and black level is set by the stripes "
        "above black alone.",
    ),
    FaultWords(
        id="headroom-clipped",
        title="Nothing above white",
        seen="Every level up to white is right, but what was sent above white has arrived as white.",
        cause="A stage that cuts at white: conversion to full-range R'G'B' and back, a 'legal levels' or "
        "limiter setting, or an analogue input set so sensitive that it overloads.",
        remedy="Switch the limiter off, or keep the path Y'CbCr with narrow range from file to capture; of an "
        "analogue capture reduce the input's gain until levels above white are seen.",
    ),
    FaultWords(
        id="setup-added",
        title="Setup added",
        seen="Black has come up by 7.5 % while white has stayed: the levels between are lifted the less the higher "
        "they are.",
        cause="An analogue output or encoder adds setup (a pedestal of 7.5 IRE under black), and the input does "
        "not take it out.",
        remedy="Switch setup (pedestal, '7.5 IRE') off at the output, or tell the capture's input to expect it; "
        "component and R'G'B' connections are used without setup. Set both ends the same way before black level "
        "is adjusted on the set.",
    ),
    FaultWords(
        id="setup-removed",
        title="Setup taken out that was not there",
        seen="Black has gone down by 8.1 % while white has stayed: the darkest levels are lost, the others lowered "
        "the less the higher they are.",
        cause="An analogue input or decoder takes out a setup of 7.5 IRE from a signal that was sent without.",
        remedy="Tell the capture's input that there is no setup ('0 IRE'), or switch setup on at the output if "
        "the chain and the set are to work with it. Set both ends the same way.",
    ),
    FaultWords(
        id="gain",
        title="Gain wrong",
        seen="All levels stand {gain} times as far from black as they were sent; black is right.",
        cause="An output that is not terminated or is terminated twice, a contrast or video-gain control, or a "
        "converter out of adjustment.",
        remedy="See that the analogue line is terminated once, with 75 ohm, at its far end; set contrast in "
        "player and capture to neutral; then trim the converter's or the input's gain until white is right.",
    ),
    FaultWords(
        id="offset",
        title="Offset: all levels moved",
        seen="All levels are moved by the same {offset_percent} % of white, as far as the codes reach.",
        cause="A brightness or black-level control in player, driver or capture, or an analogue input that "
        "clamps wrongly.",
        remedy="Set brightness in player, driver and capture to neutral; of an analogue capture trim the "
        "input's black level, and see that sync and clamp are the right kind for the signal.",
    ),
    FaultWords(
        id="gamma",
        title="Greys bent by a gamma curve",
        seen="Black and white are right and the greys between follow a power of {power} (above 1 the middle is "
        "too dark, below 1 too bright).",
        cause="A gamma table, a colour profile, tone mapping or a picture mode in player, driver or capture.",
        remedy="Switch colour management, picture modes and tone mapping off and set the driver's gamma to 1.0. "
        "Do not correct it at the set.",
    ),
    FaultWords(
        id="colour-managed",
        title="Colours converted for the computer's screen",
        seen="Black and white are right and what lies between follows a conversion of colours (transfer: {transfer}; "
        "primaries: {primaries}).",
        cause="A colour-managed viewer, browser or player took the file's word for its transfer and its primaries and "
        "converted it to those of the screen. The file itself is as it was drawn.",
        remedy="Switch colour management off, play the file through a path without it, or draw the clip again with "
        "--primaries display, which names the screen's own colours so that nothing is left to convert. Do not correct "
        "it at the set.",
    ),
    FaultWords(
        id="matrix-601-as-709",
        title="BT.601 colours read as BT.709",
        seen="Greys are right and colours are off: they were coded with the BT.601 equations and decoded with "
        "those of BT.709.",
        cause="A standard-definition file is scaled up or sent as HD without converting its colours, or a stage "
        "goes by the picture's size and not by the file's tag.",
        remedy="Play the file in its own format, set the colour space (matrix) of the player's output and of "
        "the capture to BT.601 for standard definition, and leave neither on automatic.",
    ),
    FaultWords(
        id="matrix-709-as-601",
        title="BT.709 colours read as BT.601",
        seen="Greys are right and colours are off: they were coded with the BT.709 equations and decoded with "
        "those of BT.601.",
        cause="An HD file is scaled down or decoded without a tag by a stage that takes everything for standard "
        "definition, often the capture software.",
        remedy="Play the file in its own format, set the colour space (matrix) of the player's output and of "
        "the capture to BT.709 for HD, and leave neither on automatic.",
    ),
    FaultWords(
        id="components-swapped",
        title="Colour-difference signals exchanged",
        seen="Greys are right and the two colour-difference signals have changed places.",
        cause="The P'B and P'R cables exchanged at a component connection, or a chroma order mistaken in a raw file.",
        remedy="Exchange the P'B (blue) and P'R (red) cables at one end; where all is digital, set the "
        "capture's sample format to that of the file.",
    ),
    FaultWords(
        id="channels-swapped",
        title="Red, green and blue exchanged",
        seen="Greys are right and the three channels have changed places: they arrive as {order}.",
        cause="R'G'B' cables exchanged, or a file with blue, green, red read in the other order.",
        remedy="Compare the cables one by one at both ends (show fields of red, green and blue in turn); where "
        "all is digital, set the capture's sample format to that of the file.",
    ),
    FaultWords(
        id="chroma-gain",
        title="Too much or too little colour",
        seen="Greys are right and all colours have {gain} times their strength; their hues are right.",
        cause="A saturation or colour control in player, driver or capture, a 'vivid' picture mode, or a "
        "composite or component stage with the wrong chroma gain.",
        remedy="Set colour (saturation) in player and capture to neutral and picture modes off; then trim the "
        "chroma gain of the converter until the coloured bars are right.",
    ),
    FaultWords(
        id="hue-rotated",
        title="Hue turned",
        seen="Greys are right and all colours are turned by {degrees} degrees in the plane of the "
        "colour-difference signals.",
        cause="A hue (tint) control in player, driver or capture, or a composite decoder whose phase is off.",
        remedy="Set hue in player and capture to its middle; of a composite path adjust the decoder's phase, or "
        "better take a component connection.",
    ),
    FaultWords(
        id="channel-gain",
        title="One channel too strong or too weak",
        seen="The channel {channel} has {gain} times its strength while the others are right; greys have a tint.",
        cause="One analogue line with a bad termination, contact or converter, or a colour-temperature control "
        "in player or driver.",
        remedy="Set colour temperature and colour gains in player and driver to neutral; exchange that line's "
        "cable with another's: if the fault stays with the cable it is the cable or its termination, else trim "
        "that channel's gain.",
    ),
    FaultWords(
        id="bits-lost",
        title="Fewer bits than the file has",
        seen="Only the {bits} highest bits carry anything: the codes come in steps, and a ramp shows bands.",
        cause="A stage of fewer bits: an 8-bit player, output or capture format, a 6-bit path with dither, or a "
        "file that was converted on the way.",
        remedy="Set output and capture to the file's depth (10 bits where offered), and play a 10-bit file; or "
        "know that the path has fewer bits, and judge it with an 8-bit file.",
    ),
    FaultWords(
        id="fields-swapped",
        title="Fields in the wrong order",
        seen="The lines of the two fields have changed places, in time or from line to line: what moves jumps "
        "back and forth, and fine lines stand one line off.",
        cause="A field-order setting (top or bottom field first) that is not the file's, or a picture moved up "
        "or down by an odd number of lines.",
        remedy="Set the field order of output and capture to the file's, which is top field first, and see that "
        "nothing moves the picture by one line. A file that tells its own order wrongly needs that word corrected.",
    ),
    FaultWords(
        id="deinterlaced",
        title="Made progressive on the way",
        seen="The two fields do not carry their own lines any more: the lines of one are worked out from the "
        "other's, or the two are mixed.",
        cause="A deinterlacer in player, driver or capture, or an output set to a progressive format.",
        remedy="Set the output to the interlaced format of the file and switch deinterlacing off in player and "
        "in capture; capture frames with both fields as they are.",
    ),
    FaultWords(
        id="scaled",
        title="Scaled",
        seen="The picture has {scale_x} of its width and {scale_y} of its height: samples have been computed "
        "anew, fine detail is lost or uneven.",
        cause="An output format that is not the file's, 'zoom', 'fit' or overscan compensation in player or "
        "driver, or a capture to another size or to square samples.",
        remedy="Set the output to the file's own format, zoom and overscan compensation off, and the capture to "
        "the format's native raster without scaling or aspect correction.",
    ),
    FaultWords(
        id="shifted",
        title="Moved",
        seen="The picture lies {offset_x} samples to the right and {offset_y} lines down from where it belongs; "
        "its size is right.",
        cause="The timing of an analogue output or input (start of the active line, position controls), or a "
        "capture that cuts its window elsewhere.",
        remedy="Set the position of the capture's window or the mode line's porches to the format's timing; "
        "judge centring on the set only when the signal itself stands right.",
    ),
    FaultWords(
        id="cropped",
        title="Cropped",
        seen="Part of the picture is cut off: {sides}.",
        cause="A setting called overscan, zoom or fill in player or driver, or a capture of less than the active "
        "raster.",
        remedy="Switch overscan, zoom and fill off in player and driver, and set the capture to the whole "
        "active raster of the format.",
    ),
    FaultWords(
        id="chroma-softened",
        title="Colour softer than it should be",
        seen="Flat colours are right and luma is sharp, but colour changes over too wide an edge: {response} of "
        "its fine detail is left.",
        cause="A conversion to 4:2:0 or 4:1:1 on the way, a composite or S-video connection, or chroma noise "
        "reduction.",
        remedy="Take a component, R'G'B' or digital connection, capture in 4:2:2 or R'G'B', and switch noise "
        "reduction off. 4:2:0 files have half the lines of colour from the start.",
    ),
    FaultWords(
        id="sharpened",
        title="Sharpened",
        seen="Edges have halos and fine detail is stronger than it was sent ({response} of its strength); flat "
        "levels are right.",
        cause="Sharpness, edge or detail enhancement in player, scaler, driver or capture.",
        remedy="Set sharpness to neutral (often 0, on some devices the middle) and enhancement off at every "
        "stage; do not make up for it at the set's aperture control.",
    ),
    FaultWords(
        id="softened",
        title="Soft",
        seen="Edges are wide and fine detail is weaker than it was sent ({response} of its strength); flat "
        "levels are right.",
        cause="Scaling, noise reduction, a filter before an analogue output or input that is too narrow, a long "
        "cable, or heavy compression.",
        remedy="Play and capture in the file's own format with noise reduction off and without loss; of an "
        "analogue path shorten the cable, see to its termination, and set the input's filter for the format's "
        "bandwidth.",
    ),
    FaultWords(
        id="chroma-lost",
        title="No colour",
        seen="Luma is right and there is no colour at all.",
        cause="A decoder that does not recognise the colour standard, S-video into a composite input, a component "
        "connection of which only the green (Y) cable arrives, or saturation at its lowest.",
        remedy="Set the input to the kind of connection and colour standard that is played, compare the cables one by "
        "one, and set saturation to neutral.",
    ),
    FaultWords(
        id="component-missing",
        title="A signal is missing",
        seen="The signal {component} does not arrive; the others are right.",
        cause="A cable that is not plugged in, broken or in the wrong socket, or an input that is set to another kind.",
        remedy="Exchange that cable with another one: if the fault goes with the cable it is the cable, else see to "
        "the socket and to the input's kind.",
    ),
    FaultWords(
        id="component-inverted",
        title="A signal is upside down",
        seen="The signal {component} arrives inverted; the others are right.",
        cause="A colour-difference signal of the wrong polarity, an adapter or converter wired for another kind, or a "
        "negative setting in a player.",
        remedy="Set the polarity or kind of that signal at the converter, and take adapters out one by one.",
    ),
    FaultWords(
        id="black-crushed",
        title="Dark levels crushed",
        seen="Levels below {below_percent} % are darker than they were sent; black and all above are right.",
        cause="A picture mode or 'black stretch' of player, driver or set, or a stage that overloads below.",
        remedy="Switch picture modes, dynamic contrast and black stretch off; do not make up for it by raising "
        "brightness.",
    ),
    FaultWords(
        id="white-compressed",
        title="Light levels compressed",
        seen="Above {knee_percent} % levels rise with {slope} of their steepness only; those below are right.",
        cause="A knee, soft clip or dynamic contrast in player, driver or capture, or a stage that overloads.",
        remedy="Switch knee, soft clipping and dynamic contrast off, see that the line is terminated, and reduce the "
        "input's gain until the lightest steps are apart again.",
    ),
    FaultWords(
        id="range-converted-twice",
        title="Range converted twice",
        seen="The conversion between narrow and full range was done two times in the same direction ({way}).",
        cause="Two stages, such as player and driver, or driver and capture, each take the signal for the other range.",
        remedy="Set the range of player, output and capture to the same kind, each by hand: leave none on automatic, "
        "and change them one at a time, capturing after each.",
    ),
    FaultWords(
        id="band-limited",
        title="Bandwidth cut",
        seen="Detail is let through evenly up to a frequency and lost above it: 3 dB are lost at {cutoff_mhz} MHz, or "
        "{cutoff_tv_lines} TV lines.",
        cause="A filter before an analogue output or input that is made for another format, a video recorder or "
        "another narrow stage, or a composite decoder.",
        remedy="Set output and input to the format that is played, take a component or digital connection, and leave "
        "recorders and switches out of the way; sharpness controls cannot bring it back.",
    ),
    FaultWords(
        id="comb-decoded",
        title="Decoded from composite",
        seen="Detail near the colour subcarrier of {carrier_mhz} MHz is taken out, as a decoder of composite does.",
        cause="A composite connection somewhere in the chain, whose decoder separates colour by a notch or a comb.",
        remedy="Take a component, R'G'B' or digital connection all the way; where composite is to be tested, judge "
        "detail with another pattern.",
    ),
    FaultWords(
        id="cross-colour",
        title="Colour in fine detail",
        seen="Fine grey detail has coloured stripes that change from line to line ({percent} % of white).",
        cause="A composite connection somewhere in the chain: its decoder takes fine detail for colour.",
        remedy="Take a component, R'G'B' or digital connection all the way.",
    ),
    FaultWords(
        id="chroma-delayed",
        title="Colour beside its place",
        seen="Colour arrives {delay_ns} ns after luma (+) or before it (-).",
        cause="A filter or decoder whose delay of luma and colour are not alike, cables of unequal length, or a chroma "
        "position that a converter takes for another one.",
        remedy="Set the delay (Y/C delay, chroma position) of decoder and capture, or take a connection without a "
        "decoder.",
    ),
    FaultWords(
        id="echo",
        title="Echo",
        seen="The picture comes a second time, {delay_us} us later, with {percent} % of its strength.",
        cause="A line without its termination of 75 ohm or with two, a bad connector or splice, or a cable of another "
        "impedance.",
        remedy="Terminate the line once, at its far end, take switches and adapters out one by one, and try another "
        "cable; a metre of cable, there and back, is about 10 ns.",
    ),
    FaultWords(
        id="noise",
        title="Noise",
        seen="The signal is only {snr_db} dB above the noise (white to the noise's effective value, unweighted); "
        "40 dB and more are usual.",
        cause="A long or unscreened cable, an input that amplifies too much, a receiver or a tape in the chain.",
        remedy="Shorten the cable, try another one and another input, switch automatic gain off, and see that the "
        "level at the input is the standard's.",
    ),
    FaultWords(
        id="dithered",
        title="Few bits, dithered",
        seen="Levels are mixed of codes that are far apart: the picture has {bits} bits only, made to look like more.",
        cause="An output, driver or capture of 5 or 6 bits a colour that dithers, or a file made for one.",
        remedy="Set the computer's colour depth to 8 bits a colour or more, dithering off, and the capture to the "
        "same.",
    ),
    FaultWords(
        id="hum",
        title="Hum",
        seen="The {of} goes up and down by {swing_percent} % of white over the height of the picture ({periods} "
        "periods).",
        cause="Mains hum: a difference of earth potential between two devices, a supply that is worn out, or a "
        "magnetic field near a cable.",
        remedy="Plug all devices into one outlet, try an isolating transformer for video in the line, and keep cables "
        "away from mains transformers. If it stays with one device, its supply wants service.",
    ),
    FaultWords(
        id="tilt",
        title="Tilt along the lines",
        seen="The {of} changes evenly from left to right, by {swing_percent} % of white.",
        cause="A coupling capacitor that is too small or worn out, a clamp that does not hold, or a wrong termination.",
        remedy="Terminate the line once with 75 ohm, try another input or a direct-coupled one, and see that the input "
        "gets sync of the right kind. What remains is a capacitor or a clamp in a device.",
    ),
    FaultWords(
        id="shading",
        title="Shading",
        seen="The {of} differs over the picture by {swing_percent} % of white, evenly, across and down.",
        cause="A correction of shading or vignetting, a picture mode, a clamp that does not hold over a field, or a "
        "capture by a camera.",
        remedy="Switch picture modes and corrections of uniformity off; if the capture is of a screen by a camera, "
        "capture the signal itself.",
    ),
    FaultWords(
        id="dropouts",
        title="Dropouts",
        seen="In {count} places a part of a line is missing: lighter, darker or grey streaks.",
        cause="A tape or disc that is worn or dirty, a cable or connector with a bad contact, or a digital link at its "
        "limit.",
        remedy="Move each connector and cable while watching; play from another source. If it stays with a tape or "
        "disc, clean or replace that.",
    ),
    FaultWords(
        id="overlay",
        title="Something lies over the picture",
        seen="A display, menu, logo or window covers {area_percent} % of the picture.",
        cause="The on-screen display of a player, set or capture program, or a mouse pointer or message of the "
        "computer.",
        remedy="Wait until it goes away, or switch on-screen displays and messages off, and capture again.",
    ),
    FaultWords(
        id="torn",
        title="Torn: two frames in one",
        seen="From line {line} on the picture is another one than above it, or stands elsewhere.",
        cause="An output or capture that changes frames while a frame is on its way (no vertical synchronisation), or "
        "a source whose sync is lost in mid-field.",
        remedy="Switch vertical synchronisation on in player and driver, capture when the picture has stood for a "
        "while, and see that the sync arrives at its proper level.",
    ),
    FaultWords(
        id="other",
        title="An error of another kind",
        seen="The picture is not as it was sent, and none of the known faults, nor two of them together, does this.",
        cause="Several faults at once, or one that is not known here.",
        remedy="Take devices and adapters out of the chain one by one, and capture after each until it is right "
        "or a fault is named.",
    ),
    FaultWords(
        id="wrong-pattern",
        title="Another pattern",
        seen="The frame does not show {pattern}; it looks like {looks_like}.",
        cause="Another file was playing, a menu or a still from the player's list was captured, or --pattern "
        "names another one than was played.",
        remedy="Play the pattern that was named, or leave --pattern out and let the frame tell; of a video give "
        "--frame of a moment when the pattern is up.",
    ),
    FaultWords(
        id="no-pattern",
        title="No pattern",
        seen="The frame shows nothing of a known pattern.",
        cause="No signal, a black or blue screen, a menu or a desktop in front, or a capture that began before "
        "the picture was up.",
        remedy="See the picture on a screen first, check the cable, the chosen input and its format, and "
        "capture again when the pattern is up; of a video give a later --frame.",
    ),
)

FAULTS: dict[str, FaultWords] = {words.id: words for words in _ALL}
"""Every fault that can be named, by id: levels, colour, depth, scan, place, sharpness, and what is shown."""
