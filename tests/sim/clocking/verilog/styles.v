// Ways to clock: each module has inputs of one bit, of which the test moves one at a time.

// Two clocks, both edges of each, and words handed between them.
module both_edges_of_two (input a, b, d, output reg [3:0] up_a, down_a, up_b, down_b);
  initial begin
    up_a = 1; down_a = 2; up_b = 3; down_b = 4;
  end
  always @(posedge a) up_a <= {up_a[2:0], d};
  always @(negedge a) down_a <= down_a + up_b;
  always @(posedge b) up_b <= up_b ^ up_a;
  always @(negedge b) down_b <= down_a;
endmodule

// A counter on each edge of a clock behind an AND, an OR, and behind either with its latch.
module gated (input clk, en, output [15:0] counts);
  reg low_open = 0, high_open = 0;
  always @* if (!clk) low_open = en;
  always @* if (clk) high_open = en;
  two_counts plain_and (clk & en, counts[3:0]);
  two_counts plain_or (clk | ~en, counts[7:4]);
  two_counts latched_and (clk & low_open, counts[11:8]);
  two_counts latched_or (clk | ~high_open, counts[15:12]);
endmodule
module two_counts (input clk, output [3:0] counts);
  reg [1:0] up = 0, down = 0;
  always @(posedge clk) up <= up + 1;
  always @(negedge clk) down <= down + 1;
  assign counts = {down, up};
endmodule

// One clock of two, by a switch.
module multiplexed (input a, b, select, output [3:0] counts, output chosen);
  assign chosen = select ? a : b;
  two_counts counter (chosen, counts);
endmodule

// A clock that is read as well, by its own registers, by those of another clock, and by logic.
module clock_as_data (input clk, other, d, output reg rose, fell, seen, mixed, output y);
  initial {rose, fell, seen, mixed} = 0;
  assign y = clk ^ d;
  always @(posedge clk) rose <= clk;
  always @(negedge clk) fell <= ~clk;
  always @(posedge other) seen <= clk;
  always @(posedge other) mixed <= y;
endmodule

// Clocks made of lines by logic.
module from_logic (input a, b, c, output [15:0] counts);
  two_counts by_xor (a ^ b ^ c, counts[3:0]);
  two_counts by_nor (~(a | b | c), counts[7:4]);
  two_counts by_majority (a & b | b & c | a & c, counts[11:8]);
  two_counts by_select (a ? b : ~c, counts[15:12]);
endmodule

// Asynchronous set and reset of either level, the reset stronger.
module set_and_reset (input clk, set, rst_n, d, output reg high, low);
  initial {high, low} = 0;
  wire rst = ~rst_n, set_n = ~set;
  always @(posedge clk or posedge set or negedge rst_n)
    if (!rst_n) high <= 0;
    else if (set) high <= 1;
    else high <= d;
  always @(negedge clk or posedge rst or negedge set_n)
    if (rst) low <= 0;
    else if (!set_n) low <= 1;
    else low <= ~d;
endmodule

// A counter that clears itself at five, and a bit that clears itself at once.
module clears_itself (input clk, d, output reg [2:0] count, output reg pulse, output reg [1:0] after);
  initial begin
    count = 0; pulse = 0; after = 0;
  end
  wire five = count == 5;
  always @(posedge clk or posedge five)
    if (five) count <= 0;
    else count <= count + 1;
  always @(posedge clk or posedge pulse)
    if (pulse) pulse <= 0;
    else pulse <= d;
  always @(negedge clk) after <= {after[0], pulse};
endmodule

// Counters whose stages clock one another: down, up and down by a fixed pattern, and a shift register in a ring.
module ripple_down (input clk, output reg [4:0] q, mixed, output reg [2:0] ring);
  initial begin
    q = 0; mixed = 0; ring = 1;
  end
  always @(posedge clk) q[0] <= ~q[0];
  always @(negedge clk) mixed[0] <= ~mixed[0];
  genvar i;
  generate for (i = 1; i < 5; i = i + 1) begin : stage
    always @(posedge q[i-1]) q[i] <= ~q[i];
    if (i % 2) always @(posedge mixed[i-1]) mixed[i] <= ~mixed[i];
    else always @(negedge mixed[i-1]) mixed[i] <= ~mixed[i];
  end endgenerate
  always @(posedge q[1]) ring <= {ring[1:0], ring[2]};
endmodule

// A divider of gates alone: a flip-flop of six NANDs whose data is its own inverse; a reset brings it up.
module gates_alone (input clk, rst_n, s, r, output q, q_n, hold, hold_n);
  wire w1, w2, w3, w4;
  nand (w1, w4, w2);
  nand (w2, w1, clk, rst_n);
  nand (w3, w2, clk, w4);
  nand (w4, w3, q_n, rst_n);
  nand (q, w2, q_n);
  nand (q_n, w3, q, rst_n);
  nor (hold, r, hold_n);
  nor (hold_n, s, hold);
endmodule
