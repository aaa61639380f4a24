// A processor with a stack of eight bytes and a program of sixteen instructions.
module stack_machine (input clk, rst, input [7:0] port, output [7:0] top, output reg [3:0] pc, output reg [3:0] depth,
                      output reg [7:0] shown);
  reg [7:0] stack [0:7];
  reg [7:0] code [0:15];
  wire [7:0] op = code[pc];
  wire [2:0] sp = depth[2:0] - 3'd1, below = depth[2:0] - 3'd2;
  wire [7:0] x = stack[sp], y = stack[below];
  integer i;
  initial begin
    pc = 0; depth = 0; shown = 0;
    for (i = 0; i < 8; i = i + 1) stack[i] = 0;
    code[0] = 8'h80; code[1] = 8'h13; code[2] = 8'h20; code[3] = 8'h80; code[4] = 8'h30; code[5] = 8'h90; code[6] = 8'h17;
    code[7] = 8'h40; code[8] = 8'h90; code[9] = 8'h80; code[10] = 8'h50; code[11] = 8'h6f; code[12] = 8'h11;
    code[13] = 8'h90; code[14] = 8'h70; code[15] = 8'h60;
  end
  assign top = x;
  always @(posedge clk)
    if (rst) begin
      pc <= 0;
      depth <= 0;
    end else begin
      pc <= pc + 1;
      case (op[7:4])
        4'h1: begin stack[depth[2:0]] <= {4'b0, op[3:0]}; depth <= depth + 1; end
        4'h2: begin stack[below] <= y + x; depth <= depth - 1; end
        4'h3: begin stack[below] <= y ^ x; depth <= depth - 1; end
        4'h4: begin stack[below] <= y * x; depth <= depth - 1; end
        4'h5: stack[sp] <= {x[0], x[7:1]};
        4'h6: if (x[0]) pc <= op[3:0];
        4'h7: begin stack[depth[2:0]] <= x; depth <= depth + 1; end
        4'h8: begin stack[depth[2:0]] <= port; depth <= depth + 1; end
        4'h9: begin shown <= x; depth <= depth - 1; end
        default: ;
      endcase
    end
endmodule
