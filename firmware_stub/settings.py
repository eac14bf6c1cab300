"""What differs from node to node. Fill in, and keep the filled-in copy to yourself: it holds passwords."""

SITE = "home"  # the same as id in [site] of eggroom's configuration. Ids: small letters, digits and -, up to 32
NODE = "node-a"
ROOT = "eggroom"  # first word of every topic

BOARD = "esp32"  # "esp32", or "unix" for a node without hardware
WIFI_NAME = ""
WIFI_PASSWORD = ""

BROKER_HOST = "192.168.1.10"  # a number rather than a name: looking up a name can stall the node
BROKER_PORT = 1883
BROKER_USER = NODE  # the broker lets a node write under its account's name only
BROKER_PASSWORD = ""

# The probes: name, kind, and where it is.
#   ("top", "sht4x", 0x44)                   SHT40, SHT41, SHT43, SHT45 on the I2C pins
#   ("top", "sht3x", 0x44)                   SHT30, SHT31, SHT35 on the I2C pins
#   ("egg", "ds18b20", "28139bbb0b00001f")   on the 1-Wire pin; codes are printed at start; None: the only one
#   ("top", "scripted", ((37500, 55000, None), (None, None, "crc")))   made up, in thousandths; the last stays
PROBES = (("top", "sht4x", 0x44),)

# Switches that it reads: name, pin, and what the pin reads (1 or 0) when it says true. `[[switch]]` of eggroom's configuration says
# what each is of. A contact closes its pin to GND, and reads 0 then.
#   SWITCHES = (("door", 32, 1), ("water", 33, 0))
SWITCHES = ()

SCL_PIN = 22
SDA_PIN = 21
WIRE_PIN = 4
BUZZER_PIN = 25  # None: no buzzer

# What it says of itself besides, every ten minutes, for `eggroom health`.
SIGNAL = True  # how strong the Wi-Fi is here (dBm: -60 is good, -80 hardly enough)
BATTERY_PIN = None  # of an ADC (32 to 39 on an ESP32) that a battery's voltage comes to, through two resistors
BATTERY_TIMES = 2  # by how much they divide it: two equal ones halve it
FACTS_MS = 600000

CLOCK = False  # True: set the clock over the network and tell absolute times as well,
NTP_HOST = "pool.ntp.org"  # from here

SETTLE_MS = 50  # a switch that turned has to say the same for so long; then a sample is sent at once
INTERVAL_MS = 10000  # between samples; sooner would warm a DS18B20 by its own current
RING = 4320  # samples kept while nobody stores them: 12 hours at 10 s. Fewer, and so said at the start, where there is no memory for so many
KEEPALIVE_S = 30  # the broker says "offline" after 1.5 times this silence
TIMEOUT_MS = 5000  # for each answer of the broker
RETRY_MS = 1000  # first wait before connecting again; doubled each time,
RETRY_MAX_MS = 30000  # up to this
RESEND_MS = 30000  # what is not stored by then is sent again; doubled each time in vain,
RESEND_MAX_MS = 3600000  # up to this, until the service stores something or is back after a silence
ALIVE_MS = 180000  # the buzzer sounds when the service has given no sign of life for so long
WATCHDOG_MS = 60000  # the board restarts when the loop has hung for so long; None: never
