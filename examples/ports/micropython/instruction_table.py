"""Made by examples/ports/make_tables.py from halfbit's registry: do not edit."""

try:
    from micropython import const
except ImportError:  # on a PC

    def const(value):
        return value


# The instructions.
I_DIGITAL_DECODER_RESET_PACKET = const(0)
I_DIGITAL_DECODER_RESET = const(1)
I_HARD_RESET = const(2)
I_FACTORY_TEST = const(3)
I_SET_DECODER_FLAGS = const(4)
I_SET_EXTENDED_ADDRESSING = const(5)
I_DECODER_ACKNOWLEDGEMENT_REQUEST = const(6)
I_DECODER_ACKNOWLEDGEMENT_REQUEST_2 = const(7)
I_RESERVED = const(8)
I_RESERVED_2 = const(9)
I_RESERVED_3 = const(10)
I_CONSIST_CONTROL = const(11)
I_RESERVED_4 = const(12)
I_128_SPEED_STEP_CONTROL = const(13)
I_RESTRICTED_SPEED_STEP = const(14)
I_ANALOG_FUNCTION_GROUP = const(15)
I_SPEED_DIRECTION_AND_FUNCTIONS = const(16)
I_RESERVED_5 = const(17)
I_SPEED_AND_DIRECTION = const(18)
I_BROADCAST_STOP = const(19)
I_FUNCTION_GROUP_ONE = const(20)
I_FUNCTION_GROUP_TWO_F5_TO_F8 = const(21)
I_FUNCTION_GROUP_TWO_F9_TO_F12 = const(22)
I_BINARY_STATE_CONTROL_LONG_FORM = const(23)
I_MODEL_TIME = const(24)
I_MODEL_DATE = const(25)
I_SYSTEM_TIME = const(26)
I_F29_TO_F36 = const(27)
I_F37_TO_F44 = const(28)
I_F45_TO_F52 = const(29)
I_F53_TO_F60 = const(30)
I_F61_TO_F68 = const(31)
I_BINARY_STATE_CONTROL_SHORT_FORM = const(32)
I_F13_TO_F20 = const(33)
I_F21_TO_F28 = const(34)
I_RESERVED_6 = const(35)
I_CV_ACCESS_LONG_FORM_VERIFY_BYTE = const(36)
I_CV_ACCESS_LONG_FORM_WRITE_BYTE = const(37)
I_CV_ACCESS_LONG_FORM_BIT_MANIPULATION = const(38)
I_RESERVED_7 = const(39)
I_CV_ACCESS_SHORT_FORM_CV_23 = const(40)
I_CV_ACCESS_SHORT_FORM_CV_24 = const(41)
I_CV_ACCESS_SHORT_FORM_CV_17_AND_18 = const(42)
I_CV_ACCESS_SHORT_FORM_CV_31_AND_32 = const(43)
I_DECODER_LOCK = const(44)
I_ADDRESS_QUERY = const(45)
I_RESERVED_8 = const(46)
I_DIRECT_MODE_VERIFY_BYTE = const(47)
I_DIRECT_MODE_WRITE_BYTE = const(48)
I_DIRECT_MODE_BIT_MANIPULATION = const(49)
I_DIRECT_MODE_RESERVED = const(50)
I_REGISTER_OR_PAGED_MODE = const(51)
I_ADDRESS_ONLY_MODE = const(52)
I_PAGE_PRESET = const(53)
I_FACTORY_RESET = const(54)

# Each instruction: bytes of the pattern, fewest and most behind it (255: any number), flags (1: reserved; 2: one
# of these in a packet), short addresses from and to, the pattern's masks and its values.
ROWS = (
    b'\x01\x00\x00\x02\x00\xff\xff\x00\x01\x00\x00\x02\x00\xff\xff\x00\x01\x00\x00\x02\x00\xff\xff\x01'
    b'\x01\x00\xff\x02\x00\xff\xfe\x02\x02\x00\x00\x02\x00\xff\xfe\x08\x06\x00\x01\x00\x00\x02\x00\xff'
    b'\xfe\n\x01\x00\x00\x02\x00\xff\xff\x0e\x01\x00\x00\x00\x00\xff\xff\x0f\x01\x00\xff\x01\x00\xff'
    b'\xfe\x04\x01\x00\xff\x01\x00\xff\xfe\x08\x01\x00\xff\x01\x00\xff\xfe\x0c\x02\x00\x00\x00\x00\xff'
    b'\xfe\x80\x12\x00\x01\x00\xff\x01\x00\xff\xf0\x10\x02\x00\x00\x00\x00\xff\xff\x00?\x00\x02\x00'
    b'\x00\x00\x00\xff\xff@>\x00\x03\x00\x00\x00\x00\xff\xff\x00\x00=\x00\x00\x02\x01\x04\x00'
    b'\x00\xff\xff\x00<\x00\x01\x00\xff\x01\x00\xff\xe0 \x01\x00\x00\x00\x00\xff\xc0@\x01\x00'
    b'\x00\x00\x00\xff\xce@\x01\x00\x00\x00\x00\xff\xe0\x80\x01\x00\x00\x00\x00\xff\xf0\xb0\x01\x00'
    b'\x00\x00\x00\xff\xf0\xa0\x03\x00\x00\x00\x00\xff\xff\x00\x00\xc0\x00\x00\x04\x00\x00\x00\x00\xff'
    b'\xff\xc0\x00@\xc1\x00\x00\x00\x04\x00\x00\x00\x00\xff\xff\xe0\x00\x00\xc1@\x00\x00\x03\x00'
    b'\x00\x00\x00\xff\xff\x00\x00\xc2\x00\x00\x02\x00\x00\x00\x00\xff\xff\x00\xd8\x00\x02\x00\x00\x00'
    b'\x00\xff\xff\x00\xd9\x00\x02\x00\x00\x00\x00\xff\xff\x00\xda\x00\x02\x00\x00\x00\x00\xff\xff\x00'
    b'\xdb\x00\x02\x00\x00\x00\x00\xff\xff\x00\xdc\x00\x02\x00\x00\x00\x00\xff\xff\x00\xdd\x00\x02\x00'
    b'\x00\x00\x00\xff\xff\x00\xde\x00\x02\x00\x00\x00\x00\xff\xff\x00\xdf\x00\x01\x00\xff\x01\x00\xff'
    b'\xe0\xc0\x03\x00\x00\x00\x00\xff\xfc\x00\x00\xe4\x00\x00\x03\x00\x00\x00\x00\xff\xfc\x00\x00\xec'
    b'\x00\x00\x03\x00\x00\x00\x00\xff\xfc\x00\xe0\xe8\x00\xe0\x01\x00\xff\x01\x00\xff\xfc\xe0\x02\x00'
    b'\x00\x00\x00\xff\xff\x00\xf2\x00\x02\x00\x00\x00\x00\xff\xff\x00\xf3\x00\x03\x00\x00\x00\x00\xff'
    b'\xff\x00\x00\xf4\x00\x00\x03\x00\x00\x00\x00\xff\xff\x00\x00\xf5\x00\x00\x02\x00\x00\x00\x00\xff'
    b'\xff\x80\xf9\x00\x01\x00\x00\x00\x01o\xff\xf9\x01\x00\xff\x01\x00\xff\xf0\xf0\x03\x00\x00\x00'
    b'\x00\xff\xfc\x00\x00t\x00\x00\x03\x00\x00\x00\x00\xff\xfc\x00\x00|\x00\x00\x03\x00\x00\x00'
    b'\x00\xff\xfc\x00\xe0x\x00\xe0\x03\x00\x00\x01\x00\xff\xfc\x00\x00p\x00\x00\x02\x00\x00\x00'
    b'\x00\xff\xf0\x00p\x00\x02\x00\x00\x00\x00\xff\xf7\x80p\x00\x02\x00\x00\x00\x00\xff\xff\xff'
    b'}\x01\x02\x00\x00\x00\x00\xff\xff\xff\x7f\x08'
)

# Where each starts in ROWS, two bytes, low one first.
STARTS = (
    b'\x00\x00\x08\x00\x10\x00\x18\x00 \x00*\x002\x00:\x00B\x00J\x00R\x00Z\x00'
    b'd\x00l\x00v\x00\x80\x00\x8c\x00\x96\x00\x9e\x00\xa6\x00\xae\x00\xb6\x00\xbe\x00\xc6\x00'
    b'\xd2\x00\xe0\x00\xee\x00\xfa\x00\x04\x01\x0e\x01\x18\x01"\x01,\x016\x01@\x01J\x01'
    b'R\x01^\x01j\x01v\x01~\x01\x88\x01\x92\x01\x9e\x01\xaa\x01\xb4\x01\xbc\x01\xc4\x01'
    b'\xd0\x01\xdc\x01\xe8\x01\xf4\x01\xfe\x01\x08\x02\x12\x02'
)

# Lists of instructions in the order in which they are tried, each ended by 255.
LISTS = (
    b'\x00\xff\x02\xff\x03\xff\x08\xff\x04\xff\t\xff\x05\xff\n\xff\x06\xff\x07\xff\x0c\xff\x0b\xff'
    b'\x11\xff\x10\xff\x0f\xff\x0e\xff\r\xff\x13\x12\xff\x12\xff\x14\xff\x16\xff\x15\xff\x17\xff\x18'
    b'\x19\xff\x1a\xff#\xff\x1b\xff\x1c\xff\x1d\xff\x1e\xff\x1f\xff \xff!\xff"\xff\'\xff'
    b'$\xff&\xff%\xff.\xff(\xff)\xff*\xff+\xff,\xff\x01\xff-.\xff\xff'
    b'432\xff32\xff/3\xff413\xff13\xff03\xff503\xff'
    b'603\xff'
)

# For each first byte where its list starts, in each place.
BROADCAST = (
    b'\x00\x02\x04\x04\x06\x06\x08\x08\n\n\x0c\x0c\x0e\x0e\x10\x12\x14\x14\x16\x16\x14\x14\x14\x14'
    b'\x14\x14\x14\x14\x14\x14\x14\x14\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18'
    b'\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x1a\x1c\x1e ""%%%%%%'
    b'%%%%%%%%""%%%%%%%%%%%%%%'
    b'""%%%%%%%%%%%%%%""%%%%%%'
    b"%%%%%%%%''''''''''''''''"
    b"''''''''''''''''))))))))"
    b'))))))))++++++++++++++++'
    b'-/2444444444444444444444'
    b'68:<>@BDFFFFHHHHJJJJLLLL'
    b'NNPRTVNNNXNNNNNN'
)
SHORT = (
    b'Z\x02\x04\x04\x06\x06\x08\x08\n\n\x0c\x0c\x0e\x0e\x10\x12\x14\x14\x16\x16\x14\x14\x14\x14'
    b'\x14\x14\x14\x14\x14\x14\x14\x14\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18'
    b'\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x1a\x1c\x1e %%%%%%%%'
    b'%%%%%%%%%%%%%%%%%%%%%%%%'
    b'%%%%%%%%%%%%%%%%%%%%%%%%'
    b"%%%%%%%%''''''''''''''''"
    b"''''''''''''''''))))))))"
    b'))))))))++++++++++++++++'
    b'-44444444444444444444444'
    b'68:<>@BDFFFFHHHHJJJJLLLL'
    b'NNPRTVNNN\\NNNNNN'
)
LONG = (
    b'Z\x02\x04\x04\x06\x06\x08\x08\n\n\x0c\x0c\x0e\x0e\x10\x12\x14\x14\x16\x16\x14\x14\x14\x14'
    b'\x14\x14\x14\x14\x14\x14\x14\x14\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18'
    b'\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x18\x1a\x1c\x1e %%%%%%%%'
    b'%%%%%%%%%%%%%%%%%%%%%%%%'
    b'%%%%%%%%%%%%%%%%%%%%%%%%'
    b"%%%%%%%%''''''''''''''''"
    b"''''''''''''''''))))))))"
    b'))))))))++++++++++++++++'
    b'-44444444444444444444444'
    b'68:<>@BDFFFFHHHHJJJJLLLL'
    b'NNPRTVNNNNNNNNNN'
)
SERVICE = (
    b'________________________'
    b'________________________'
    b'________________________'
    b'________________________'
    b'________________`dddgggg'
    b'jnnnqtqx________________'
    b'________________________'
    b'________________________'
    b'________________________'
    b'________________________'
    b'________________'
)

# Each field: exclusive or, addition, number of runs; each run: byte, lowest bit, bits, their place in the value.
F_FACTORY_TEST_F = (0, 0, 1, 0, 0, 1, 0)
F_SET_DECODER_FLAGS_VALUE = (0, 0, 1, 0, 0, 1, 0)
F_SET_DECODER_FLAGS_CODE = (0, 0, 1, 1, 4, 4, 0)
F_SET_DECODER_FLAGS_SUB_ADDRESS = (0, 0, 1, 1, 0, 3, 0)
F_SET_EXTENDED_ADDRESSING_ENABLED = (0, 0, 1, 0, 0, 1, 0)
F_CONSIST_CONTROL_REVERSED = (0, 0, 1, 0, 0, 1, 0)
F_CONSIST_CONTROL_NUMBER = (0, 0, 1, 1, 0, 7, 0)
F_128_SPEED_STEP_CONTROL_FORWARD = (0, 0, 1, 1, 7, 1, 0)
F_128_SPEED_STEP_CONTROL_CODE = (0, 0, 1, 1, 0, 7, 0)
F_RESTRICTED_SPEED_STEP_ENABLED = (1, 0, 1, 1, 7, 1, 0)
F_RESTRICTED_SPEED_STEP_STEP = (0, 0, 1, 1, 0, 6, 0)
F_ANALOG_FUNCTION_GROUP_OUTPUT = (0, 0, 1, 1, 0, 8, 0)
F_ANALOG_FUNCTION_GROUP_VALUE = (0, 0, 1, 2, 0, 8, 0)
F_SPEED_DIRECTION_AND_FUNCTIONS_FORWARD = (0, 0, 1, 1, 7, 1, 0)
F_SPEED_DIRECTION_AND_FUNCTIONS_CODE = (0, 0, 1, 1, 0, 7, 0)
F_SPEED_AND_DIRECTION_FORWARD = (0, 0, 1, 0, 5, 1, 0)
F_SPEED_AND_DIRECTION_CODE = (0, 0, 2, 0, 4, 1, 4, 0, 0, 4, 0)
F_BROADCAST_STOP_FORWARD = (0, 0, 1, 0, 5, 1, 0)
F_BROADCAST_STOP_DIRECTION_IGNORED = (0, 0, 1, 0, 4, 1, 0)
F_BROADCAST_STOP_EMERGENCY = (0, 0, 1, 0, 0, 1, 0)
F_FUNCTION_GROUP_ONE_BIT4 = (0, 0, 1, 0, 4, 1, 0)
F_FUNCTION_GROUP_ONE_STATES = (0, 0, 1, 0, 0, 4, 0)
F_FUNCTION_GROUP_TWO_F5_TO_F8_STATES = (0, 0, 1, 0, 0, 4, 0)
F_FUNCTION_GROUP_TWO_F9_TO_F12_STATES = (0, 0, 1, 0, 0, 4, 0)
F_BINARY_STATE_CONTROL_LONG_FORM_STATE = (0, 0, 1, 1, 7, 1, 0)
F_BINARY_STATE_CONTROL_LONG_FORM_NUMBER = (0, 0, 2, 2, 0, 8, 7, 1, 0, 7, 0)
F_MODEL_TIME_MINUTE = (0, 0, 1, 1, 0, 6, 0)
F_MODEL_TIME_WEEKDAY = (0, 0, 1, 2, 5, 3, 0)
F_MODEL_TIME_HOUR = (0, 0, 1, 2, 0, 5, 0)
F_MODEL_TIME_UPDATE = (0, 0, 1, 3, 7, 1, 0)
F_MODEL_TIME_FACTOR = (0, 0, 1, 3, 0, 6, 0)
F_MODEL_DATE_DAY = (0, 0, 1, 1, 0, 5, 0)
F_MODEL_DATE_MONTH = (0, 0, 1, 2, 4, 4, 0)
F_MODEL_DATE_YEAR = (0, 0, 2, 2, 0, 4, 8, 3, 0, 8, 0)
F_SYSTEM_TIME_MILLISECONDS = (0, 0, 2, 1, 0, 8, 8, 2, 0, 8, 0)
F_F29_TO_F36_STATES = (0, 0, 1, 1, 0, 8, 0)
F_F37_TO_F44_STATES = (0, 0, 1, 1, 0, 8, 0)
F_F45_TO_F52_STATES = (0, 0, 1, 1, 0, 8, 0)
F_F53_TO_F60_STATES = (0, 0, 1, 1, 0, 8, 0)
F_F61_TO_F68_STATES = (0, 0, 1, 1, 0, 8, 0)
F_BINARY_STATE_CONTROL_SHORT_FORM_STATE = (0, 0, 1, 1, 7, 1, 0)
F_BINARY_STATE_CONTROL_SHORT_FORM_NUMBER = (0, 0, 1, 1, 0, 7, 0)
F_F13_TO_F20_STATES = (0, 0, 1, 1, 0, 8, 0)
F_F21_TO_F28_STATES = (0, 0, 1, 1, 0, 8, 0)
F_CV_ACCESS_LONG_FORM_VERIFY_BYTE_CV = (0, 1, 2, 0, 0, 2, 8, 1, 0, 8, 0)
F_CV_ACCESS_LONG_FORM_VERIFY_BYTE_VALUE = (0, 0, 1, 2, 0, 8, 0)
F_CV_ACCESS_LONG_FORM_WRITE_BYTE_CV = (0, 1, 2, 0, 0, 2, 8, 1, 0, 8, 0)
F_CV_ACCESS_LONG_FORM_WRITE_BYTE_VALUE = (0, 0, 1, 2, 0, 8, 0)
F_CV_ACCESS_LONG_FORM_BIT_MANIPULATION_CV = (0, 1, 2, 0, 0, 2, 8, 1, 0, 8, 0)
F_CV_ACCESS_LONG_FORM_BIT_MANIPULATION_WRITE = (0, 0, 1, 2, 4, 1, 0)
F_CV_ACCESS_LONG_FORM_BIT_MANIPULATION_VALUE = (0, 0, 1, 2, 3, 1, 0)
F_CV_ACCESS_LONG_FORM_BIT_MANIPULATION_POSITION = (0, 0, 1, 2, 0, 3, 0)
F_CV_ACCESS_SHORT_FORM_CV_23_VALUE = (0, 0, 1, 1, 0, 8, 0)
F_CV_ACCESS_SHORT_FORM_CV_24_VALUE = (0, 0, 1, 1, 0, 8, 0)
F_CV_ACCESS_SHORT_FORM_CV_17_AND_18_VALUE = (0, 0, 1, 1, 0, 8, 0)
F_CV_ACCESS_SHORT_FORM_CV_17_AND_18_NEXT_VALUE = (0, 0, 1, 2, 0, 8, 0)
F_CV_ACCESS_SHORT_FORM_CV_31_AND_32_VALUE = (0, 0, 1, 1, 0, 8, 0)
F_CV_ACCESS_SHORT_FORM_CV_31_AND_32_NEXT_VALUE = (0, 0, 1, 2, 0, 8, 0)
F_DECODER_LOCK_NUMBER = (0, 0, 1, 1, 0, 7, 0)
F_DIRECT_MODE_VERIFY_BYTE_CV = (0, 1, 2, 0, 0, 2, 8, 1, 0, 8, 0)
F_DIRECT_MODE_VERIFY_BYTE_VALUE = (0, 0, 1, 2, 0, 8, 0)
F_DIRECT_MODE_WRITE_BYTE_CV = (0, 1, 2, 0, 0, 2, 8, 1, 0, 8, 0)
F_DIRECT_MODE_WRITE_BYTE_VALUE = (0, 0, 1, 2, 0, 8, 0)
F_DIRECT_MODE_BIT_MANIPULATION_CV = (0, 1, 2, 0, 0, 2, 8, 1, 0, 8, 0)
F_DIRECT_MODE_BIT_MANIPULATION_WRITE = (0, 0, 1, 2, 4, 1, 0)
F_DIRECT_MODE_BIT_MANIPULATION_VALUE = (0, 0, 1, 2, 3, 1, 0)
F_DIRECT_MODE_BIT_MANIPULATION_POSITION = (0, 0, 1, 2, 0, 3, 0)
F_REGISTER_OR_PAGED_MODE_WRITE = (0, 0, 1, 0, 3, 1, 0)
F_REGISTER_OR_PAGED_MODE_REGISTER = (0, 1, 1, 0, 0, 3, 0)
F_REGISTER_OR_PAGED_MODE_VALUE = (0, 0, 1, 1, 0, 8, 0)
F_ADDRESS_ONLY_MODE_WRITE = (0, 0, 1, 0, 3, 1, 0)
F_ADDRESS_ONLY_MODE_VALUE = (0, 0, 1, 1, 0, 7, 0)
