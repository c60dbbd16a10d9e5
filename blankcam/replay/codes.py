"""The stable codes of what the proof may find, grouped by the steps of the proof.

R reading the program, M the moves and their state, C contacts, H holding, V what the program states
in words, J the part that is left. A code never changes its meaning, and one that is no longer used
is never given to anything else.
"""

from __future__ import annotations

from enum import StrEnum


class Code(StrEnum):
    """Stable codes of the findings."""

    # the text, R0
    BYTES = "R01"  # a byte that is not plain ASCII
    LENGTH = "R02"  # a line, or the program, is too long to be read
    COMMENT = "R03"  # a comment is not closed, or stands inside another
    GRAMMAR = "R04"  # something that is not a letter and its number
    LINE_NUMBER = "R05"  # a line number of no or too many digits
    PERCENT = "R06"  # a % line missing, too many, or not known to the controller
    REALTIME = "R07"  # a character that a streaming controller obeys at once, even in a comment
    BLOCK_DELETE = "R08"  # a line that a switch on the machine leaves out
    # words, R1
    LETTER = "R11"  # a letter that begins no word
    REPEATED = "R12"  # one word twice on a line, or too many M words
    NUMBER = "R13"  # a number larger than any machine
    G_CODE = "R14"  # a G code that does not exist or cannot be proven
    M_CODE = "R15"  # an M code that does not exist or cannot be proven
    MODAL_GROUP = "R16"  # two codes of one modal group on a line
    UNUSED = "R17"  # a word that nothing on its line uses
    MISSING = "R18"  # a code without a word that it needs
    # state and machine, R2
    UNITS = "R21"  # units not set, set twice, or not those of the machine
    PROFILE = "R22"  # a code that this machine does not have
    NO_MOTION = "R23"  # X, Y or Z while no motion code is in force
    STATE = "R24"  # a modal state that the program does not set itself before its first move
    # the end, R3
    NO_END = "R31"  # no M2 or M30
    AFTER_END = "R32"  # code after the end
    END_STATE = "R33"  # spindle or coolant still on at the end
    # arcs and moves, R4 and R5
    ARC_RADIUS = "R41"  # the arc's end is not on its circle
    ARC_CIRCLE = "R42"  # an arc that ends where it starts: a full circle
    ARC_FORM = "R43"  # centre or radius missing, doubled, or not of the plane
    ARC_PLANE = "R44"  # a plane in which the machine takes no arcs
    NO_MOVES = "R51"  # no cutting move in the whole program
    # the moves and their state, M0 and M1
    SPINDLE = "M01"  # cutting while the spindle stands or turns the wrong way
    SPEED = "M02"  # spindle speed outside the machine's range
    NO_FEED = "M03"  # a cutting move without a feed
    FEED = "M04"  # a feed over what an axis of the machine can do
    PLUNGE = "M05"  # a plunge faster than the material allows
    TOOL = "M06"  # no tool, or one the machine does not have
    START = "M07"  # a move from a place that is not known
    TRAVEL = "M08"  # more travel than the machine has
    DEPTH = "M09"  # a cut deeper than the table allows
    OFFSET = "M10"  # the length offset of another tool, or none
    CHANGE = "M11"  # a stop or tool change while the spindle turns, or not of this machine
    KERNEL = "M12"  # on face, a tool or arc that the replay cannot judge
    CLEARANCE = "M13"  # first moves below the highest thing on the machine
    CHIP = "M14"  # more feed a tooth than the material table allows that tool
    SURFACE_SPEED = "M15"  # the edge runs faster than the material table allows
    SPIN_UP = "M16"  # cutting before the spindle has had its time to come up to speed
    STOP_PLACE = "M17"  # a stop, tool change or end while the tool is not clear of everything
    IN_CUT = "M18"  # a dwell, or a change of the spindle, while the tool is in the cut
    FIRST_MOVE = "M19"  # the first move, or the first after a change, is not straight up to safety
    MACHINE_MOVE = "M20"  # a move in machine coordinates that is not safe, or down from it blindly
    REST_PLACE = "M21"  # a tool change or the end away from where the machine's profile has it
    AIR = "M22"  # an air program too low, at feed, or with the spindle on
    BEND = "M23"  # a pass that brings out a top, so deep that its tool bends too far
    RUBS = "M24"  # so little feed a tooth that the edge rubs and does not cut
    PROBING = "M25"  # a probing program that meets the wrong thing, or sets a zero off its place
    # contacts, C0
    RAPID = "C01"  # a rapid move through the stock
    RUBBING = "C02"  # the tool's body above its flutes touches the stock
    SHANK = "C03"  # the shank touches the stock
    HOLDER = "C04"  # the holder touches the stock
    JAWS = "C05"  # anything touches jaws, clamps or the walls of a fixture
    BED = "C06"  # anything touches the bed
    # C07, for the carrier, was never given: the bed's code says it
    # holding, H0
    CUT_FREE = "H01"  # part or waste is cut loose from what holds it
    TAB = "H02"  # tabs smaller than they must be
    GRIP = "H03"  # the jaws hold too little of what stands in them
    TAPE = "H04"  # tape alone against a tool that it cannot hold against
    # what header and stops state, against job, blank and machine as they are now, V0
    STATED_ZERO = "V01"  # a zero elsewhere, or the place of a blank in a fixture
    STATED_HOLDING = "V02"  # held in another way, or jaws and clamps of another height
    STATED_STOCK = "V03"  # a blank of another size
    STATED_TOOL = "V04"  # another tool, in the header or at a stop
    STATED_MACHINE = "V05"  # another machine
    STATED_MATERIAL = "V06"  # another material
    STATED_PROGRAM = "V07"  # another part, set-up, stage or job, or a file named as another program
    STATED_LOOK = "V08"  # an air program's stop elsewhere than it tells
    # the part that is left, J0
    GOUGE = "J01"  # cut below the part
    LEFT = "J02"  # material left above the part
    FLOOR = "J03"  # a slot's floor too high or too low
    CENTRE = "J04"  # a slot off its centre
    WIDTH = "J05"  # a slot too wide or too narrow
    OUTLINE = "J06"  # an end or the outline off the part
    STEP = "J07"  # the back of a step in a nut's front off its place
